"""From a scene to its picture: light is added up linearly, edges by their exact share of each pixel."""

import cv2
import numpy as np
import shapely
from camera_coverage import covered, window
from camera_scene import card_rings, open_ring
from camera_sheet import black_boxes

PAPER, TONER = (0.84, 0.86, 0.86), (0.037, 0.035, 0.035)
SUBSTRATE = (0.20, 0.36, 0.40)
STRIP = 256
"""Rows developed at a time, so that 50 megapixels fit in memory and a strip in the cache."""


def linear(colour):
    """Linear light, blue first, of an sRGB colour of 0 to 255 (IEC 61966-2-1)."""
    c = np.asarray(colour, float)[::-1] / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _curve(steps=4096):
    c = (np.arange(steps) + 0.5) / steps
    return np.round(255 * np.where(c <= 0.0031308, 12.92 * c, 1.055 * c ** (1 / 2.4) - 0.055)).astype(
        np.uint8
    )


def render(scene):
    """The picture: uint8, shape (rows, columns, 3), blue first."""
    random = np.random.default_rng([scene.things, 1])
    canvas = _table(scene, random)
    if scene.sheet is not None:
        _draw_sheet(canvas, scene)
    if scene.body is not None:
        _draw_shadow(canvas, scene)
        _draw_board(canvas, scene)
    picture = _developed(canvas, scene, random)
    return np.ascontiguousarray(picture[:, ::-1]) if scene.mirrored else picture


def _blend(canvas, box, share, colour):
    left, top, right, bottom = box
    if share.size:
        for plane, light in zip(canvas, colour, strict=True):
            part = plane[top:bottom, left:right]
            part += share * (np.float32(light) - part)


def _blend_planes(canvas, box, share, colours):
    left, top, right, bottom = box
    for plane, light in zip(canvas, colours, strict=True):
        part = plane[top:bottom, left:right]
        part += share * (light - part)


def _table(scene, random):
    """A table of one colour with broad stains and streaks."""
    columns, rows = scene.size
    colour = random.uniform(0.05, 0.4) * np.array([random.uniform(0.5, 1), random.uniform(0.7, 1), 1.0])
    small = random.normal(0, 1, (rows // 128 + 2, columns // 128 + 2))
    streaks = random.normal(0, 1, (rows // 8 + 2, 3))
    field = 1 + 0.12 * cv2.resize(small, (columns, rows), interpolation=cv2.INTER_CUBIC).astype(np.float32)
    field += 0.08 * cv2.resize(streaks, (columns, rows), interpolation=cv2.INTER_LINEAR).astype(np.float32)
    np.clip(field, 0.3, 2, out=field)
    return [field * np.float32(c) for c in colour]


def _draw_sheet(canvas, scene):
    rim = scene.camera.pixels(scene.sheet.rim())
    box = window(rim, scene.size)
    _blend(canvas, box, covered([rim], box), PAPER)
    if scene.sheet.printed:
        rings = card_rings(scene.sheet, scene.camera, black_boxes(scene.sheet.paper))
        _blend(canvas, box, covered(rings, box), TONER)


def _shade(canvas, box, share, depth):
    left, top, right, bottom = box
    kept = 1 - np.float32(depth) * share
    for plane in canvas:
        plane[top:bottom, left:right] *= kept


def _draw_shadow(canvas, scene):
    """What the board takes of the lamp's light on the plane of the card."""
    body, reach = scene.body, np.array([*scene.light.cast, -1.0])
    places = body.world(body.rings[0])
    fallen = scene.camera.pixels(places + np.maximum(places[:, 2:], 0) * reach)
    softness = 1.0 + 0.6 * float(np.abs(places[:, 2]).mean()) * scene.camera.focal / 3500
    box = window(fallen, scene.size, margin=int(4 * softness) + 2)
    if box[2] > box[0] and box[3] > box[1]:
        share = cv2.GaussianBlur(covered([fallen], box), (0, 0), softness)
        _shade(canvas, box, share, 0.55)


def _draw_board(canvas, scene):
    body, camera = scene.body, scene.camera
    _draw_walls(canvas, scene, body.rings, 0.0, -body.thickness, SUBSTRATE)
    rings = [camera.pixels(body.world(ring)) for ring in body.rings]
    box = window(np.concatenate(rings), scene.size)
    share = covered(rings, box)
    if not share.size:
        return
    _blend_planes(canvas, box, share, _face(scene, box))
    for paint in body.paint:
        _draw_paint(canvas, scene, paint)
    eye = camera.eye
    far = sorted(body.parts, key=lambda p: -np.linalg.norm(body.world(p.foot.centroid.coords)[0] - eye))
    for standing in far:
        _draw_part(canvas, scene, standing)


def _draw_paint(canvas, scene, paint):
    rings = []
    for polygon in shapely.get_parts(paint.area):
        turned = shapely.geometry.polygon.orient(polygon)
        rings += [open_ring(ring) for ring in (turned.exterior, *turned.interiors)]
    rings = [scene.camera.pixels(scene.body.world(ring)) for ring in rings]
    if rings:
        box = window(np.concatenate(rings), scene.size)
        share = np.minimum(covered(rings, box), 1) * np.float32(paint.hides)
        _blend(canvas, box, share, linear(paint.colour))


def _draw_part(canvas, scene, standing):
    ring = open_ring(shapely.geometry.polygon.orient(standing.foot).exterior)
    colour = linear(standing.colour)
    _draw_walls(canvas, scene, [ring], standing.height, 0.0, colour)
    top = scene.camera.pixels(scene.body.world(ring, standing.height))
    box = window(top, scene.size)
    _blend(canvas, box, covered([top], box), colour)


def _draw_walls(canvas, scene, rings, upper, lower, colour):
    """The side walls that face the camera, darker the more they turn from the lamp."""
    body = scene.body
    quads, shades = [], []
    lamp = -np.array([*scene.light.cast, -1.0])
    for ring in rings:
        high, low = body.world(ring, upper), body.world(ring, lower)
        along = np.roll(high, -1, 0) - high
        outward = np.cross(along, body.turn[:, 2]) * (-1 if body.bottom else 1)
        outward /= np.maximum(np.linalg.norm(outward, axis=1), 1e-12)[:, None]
        seen = (outward * (scene.camera.eye - high)).sum(axis=1) > 0
        corners = np.stack([high, np.roll(high, -1, 0), np.roll(low, -1, 0), low], axis=1)[seen]
        quads += [*scene.camera.pixels(corners.reshape(-1, 3)).reshape(-1, 4, 2)]
        shades += [*np.round(0.45 + 0.35 * np.maximum(outward[seen] @ lamp / np.linalg.norm(lamp), 0), 1)]
    if not quads:
        return
    box = window(np.concatenate(quads), scene.size)
    share, lit = covered(quads, box), covered(quads, box, shades)
    if share.size:
        shade = lit / np.maximum(share, np.float32(1e-6))
        _blend_planes(canvas, box, np.minimum(share, 1), [shade * np.float32(c) for c in colour])


def _face(scene, box):
    """The texture of the shown face over a box of the picture: traces, pads and solder mask, float32."""
    left, top, right, bottom = box
    body = scene.body
    mask = linear(body.colour)
    if not body.traces:
        return mask[:, None, None]
    x0, y0, x1, y1 = body.polygon.bounds
    middle = scene.camera.pixels(
        body.world([[(x0 + x1) / 2, (y0 + y1) / 2], [(x0 + x1) / 2 + 1, (y0 + y1) / 2]])
    )
    density = float(np.clip(1.3 * np.hypot(*(middle[1] - middle[0])), 4, 24))
    texture = _texture(scene.things, (x0, y0, x1, y1), density, mask)
    step = 16
    u = left + (np.arange(-1, (right - left) // step + 2) + 0.5) * step - 0.5
    v = top + (np.arange(-1, (bottom - top) // step + 2) + 0.5) * step - 0.5
    grid = np.stack(np.meshgrid(u, v), axis=-1)
    at = board_positions(scene, grid.reshape(-1, 2))
    xy = (np.column_stack([at[:, 0] - x0, y1 - at[:, 1]]) * density - 0.5).astype(np.float32)
    small = xy.reshape(*grid.shape)
    full = cv2.resize(small, (small.shape[1] * step, small.shape[0] * step), interpolation=cv2.INTER_LINEAR)
    maps = full[step : step + bottom - top, step : step + right - left]
    maps = np.ascontiguousarray(maps)
    return cv2.split(cv2.remap(texture, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def board_positions(scene, pixels):
    """Where on the plane of the shown face pixels (not mirrored) look, shape (n, 2), mm."""
    body, eye = scene.body, scene.camera.eye
    rays = scene.camera.rays(pixels)
    normal = body.turn[:, 2]
    far = ((body.at - eye) @ normal) / (rays @ normal)
    local = (eye + rays * far[:, None] - body.at) @ body.turn
    return local[:, :2] * [-1 if body.bottom else 1, 1]


def _texture(seed, bounds, density, mask):
    """An invented face: bundles of tracks, pads in rows, vias; prefiltered for about one pixel a texel."""
    x0, y0, x1, y1 = bounds
    random = np.random.default_rng([seed, 2])
    columns, rows = int((x1 - x0) * density) + 2, int((y1 - y0) * density) + 2
    picture = np.empty((rows, columns, 3), np.float32)
    picture[:] = mask
    track = tuple(float(v) for v in mask * 1.5 + 0.02)
    tin = (0.5, 0.52, 0.52)
    area = (x1 - x0) * (y1 - y0)
    for _ in range(int(area / 250)):
        start = random.uniform([0, 0], [columns, rows])
        angle = random.integers(0, 8) * np.pi / 4
        step = np.array([np.cos(angle), np.sin(angle)])
        across = np.array([-step[1], step[0]]) * 0.5 * density
        length, turn = random.uniform(4, 40) * density, random.choice([-1, 1]) * np.pi / 4
        bend = np.array([np.cos(angle + turn), np.sin(angle + turn)])
        for n in range(random.integers(1, 6)):
            a = start + n * across
            points = np.array([a, a + step * length, a + step * length + bend * length / 2])
            cv2.polylines(
                picture, [np.int32(points * 16)], False, track, max(1, round(0.2 * density)), cv2.LINE_AA, 4
            )
    for _ in range(int(area / 400)):
        start, pitch = random.uniform([0, 0], [columns, rows]), random.choice([1.27, 2.54, 0.8]) * density
        way = np.array([[1, 0], [0, 1]][random.integers(2)])
        for n in range(random.integers(2, 12)):
            at = start + n * pitch * way
            cv2.circle(picture, np.int32(at * 16), int(pitch * 0.3 * 16), tin, -1, cv2.LINE_AA, 4)
    return cv2.GaussianBlur(picture, (0, 0), 0.6)


def _gain(scene, random):
    """Light over the picture, small: one value for each 16 pixels."""
    columns, rows = scene.size
    light = scene.light
    x, y = np.meshgrid(np.linspace(-1, 1, columns // 16 + 1), np.linspace(-1, 1, rows // 16 + 1))
    gain = light.level * (1 + light.gradient[0] * x / 2 + light.gradient[1] * y / 2)
    gain *= 1 - light.vignette * (x**2 + y**2) / 2
    if light.shadow is not None:
        at_x, at_y, angle, depth, softness = light.shadow
        across = (x - at_x) * np.cos(angle) + (y - at_y) * np.sin(angle)
        gain *= 1 - depth / (1 + np.exp(np.clip(across / softness, -50, 50)))
    shine = np.zeros_like(gain)
    if light.glare is not None:
        at_x, at_y, size, strength = light.glare
        shine = strength * np.exp(-((x - at_x) ** 2 + (y - at_y) ** 2) / (2 * size**2))
    return gain.astype(np.float32), shine.astype(np.float32)


def _developed(canvas, scene, random):
    """Light, blur, noise and the tone curve."""
    columns, rows = scene.size
    gain, shine = (
        cv2.resize(f, (columns, rows), interpolation=cv2.INTER_LINEAR) for f in _gain(scene, random)
    )
    picture = np.empty((rows, columns, 3), np.uint8)
    noise = np.random.Generator(np.random.SFC64([scene.seed, 3]))
    for channel, plane in enumerate(canvas):
        plane *= gain
        plane *= np.float32(scene.light.colour[2 - channel])
        if scene.light.glare is not None:
            plane += shine
        _exposed(plane, scene, noise, picture[:, :, channel])
    return picture


def _exposed(plane, scene, noise, into):
    """One plane blurred, with noise, through the tone curve."""
    rows = len(plane)
    curve = _curve()
    reach = int(np.ceil(4 * scene.blur)) + 1
    for top in range(0, rows, STRIP):
        bottom = min(top + STRIP, rows)
        upper, lower = max(top - reach, 0), min(bottom + reach, rows)
        strip = plane[upper:lower]
        if scene.blur > 0:
            kernel = (2 * reach + 1, 2 * reach + 1)
            strip = cv2.GaussianBlur(strip, kernel, scene.blur, borderType=cv2.BORDER_REPLICATE)
        strip = np.maximum(strip[top - upper : top - upper + bottom - top], 0)
        spread = np.sqrt(strip * np.float32(1 / scene.electrons) + np.float32(1e-6))
        spread *= noise.standard_normal(strip.shape, np.float32)
        strip += spread
        strip *= 4095
        np.clip(strip, 0, 4095, out=strip)
        into[top:bottom] = curve[strip.astype(np.uint16)]
