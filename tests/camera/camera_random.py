"""Scenes drawn by chance, each thing from a stream of its own: an override leaves the rest as it was."""

from dataclasses import replace

import numpy as np
import shapely
from camera_lens import Camera, turned
from camera_scene import ANOTHER_VIEW, Body, Light, Paint, Scene
from camera_sheet import Bend, Sheet

DIAGONAL_35 = float(np.hypot(36, 24))
"""Diagonal of the 36 x 24 mm frame, mm: what "35 mm equivalent" refers to (CIPA DCG-001, from memory)."""

LIGHTS = ("even", "slanting", "shadow", "glare", "dim")

DEFAULT_BOARD = shapely.box(0, 0, 150, 95)


def random_scene(
    seed,
    *,
    size=(4000, 3000),
    paper="A4",
    print_scale=(1.0, 1.0),
    flat=0.1,
    curl=0.0,
    bulge=0.0,
    board=DEFAULT_BOARD,
    thickness=1.6,
    bottom=False,
    height=None,
    crooked=0.0,
    heights=(0.0, 9.0),
    tilt=None,
    focal_35=None,
    radial=0.12,
    beyond=1.0,
    hidden=None,
    parts=(),
    paint=(),
    traces=True,
    colour=None,
    light=None,
    blur=None,
    quality=None,
    grey=False,
):
    """A photo of a board on its card.  What is None is drawn by chance.

    ``flat``: the sheet lies between two planes so far apart, mm (flatness as in ISO 1101); ``curl`` and
    ``bulge``: mm besides; ``height`` of the shown face above the card at the board's middle, else drawn from
    ``heights``; ``crooked``: degrees by which the face is tilted against the card; ``tilt``: degrees of the
    camera off the sheet's normal; ``beyond``: size of the lens terms that the fit has not, 1 = as drawn;
    ``hidden``: the most that the board may hide of the card's corners (a third, unless told otherwise).
    """

    random = _stream(seed, 0)
    tilt = random.uniform(3, 25) if tilt is None else tilt
    focal_35 = random.uniform(24, 35) if focal_35 is None else focal_35
    height = random.uniform(*heights) if height is None else height
    kind = LIGHTS[_stream(seed, 1).integers(len(LIGHTS))] if light is None else light
    quality = int(_stream(seed, 3).integers(60, 96)) if quality is None else quality
    sheet = Sheet(paper, print_scale, _bend(seed, curl, bulge, flat))
    colour = colour or _mask(_stream(seed, 8))
    lying = Body(board, thickness, np.eye(3), np.zeros(3), bottom, tuple(parts), tuple(paint), colour, traces)
    photo = Scene(
        seed=seed,
        camera=_lens(_stream(seed, 6), size, focal_35, radial, beyond),
        sheet=sheet,
        body=lying,
        light=_light(_stream(seed, 10), kind),
        blur=float(_stream(seed, 2).uniform(0.5, 1.1)) if blur is None else blur,
        electrons=1500.0 if kind == "dim" else float(_stream(seed, 11).uniform(4000, 16000)),
        quality=quality,
        grey=grey,
        exif=_exif(_stream(seed, 12), focal_35),
        strata={"tilt": tilt, "height": height, "light": kind, "quality": quality, "focal": focal_35},
    )
    return _laid_out(photo, height, crooked, tilt, _wanted(_stream(seed, 13)) if hidden is None else hidden)


def _stream(seed, number):
    return np.random.default_rng([seed, 100 + number])


def _laid_out(photo, height, crooked, tilt, hidden):
    """The board laid on the card, and the camera aimed, so that all of it and enough of the card is seen."""
    for attempt in range(400):
        placing = np.random.default_rng([photo.seed, 107, attempt])
        body = _lying(placing, photo.sheet, photo.body, height, crooked)
        settled = replace(photo.sheet, bend=_level(photo.sheet, body))
        camera = aimed(photo.camera, settled, _stream(photo.seed, 9), tilt)
        scene = replace(photo, camera=camera, sheet=settled, body=body)
        if _fits(scene, hidden):
            return scene
    raise ValueError(f"no place found for the board of scene {photo.seed}")


def more_views(scene, count=1, *, tilt=None, vary=0.01):
    """Further photos by the same camera of the same things: focal length and centre move a little."""
    found = []
    for n in range(1, count + 1):
        for attempt in range(200):
            random = np.random.default_rng([scene.seed, 200 + n, attempt])
            at = random.uniform(3, 25) if tilt is None else tilt
            moved = replace(
                scene.camera,
                focal=scene.camera.focal * (1 + random.uniform(-vary, vary)),
                centre=tuple(np.array(scene.camera.centre) + random.uniform(-8, 8, 2)),
            )
            other = replace(
                scene,
                seed=scene.seed + ANOTHER_VIEW * n,
                camera=aimed(moved, scene.sheet, random, at),
                strata={**scene.strata, "tilt": at},
            )
            if _fits(other, 0.5):
                found.append(other)
                break
        else:
            raise ValueError(f"no further view of scene {scene.seed}")
    return found


def line(points, width=0.8, colour=(20, 30, 120), *, wobble=0.0, gaps=(), hides=0.9, seed=0, closed=False):
    """A pen's line as `Paint`: ``points`` (n, 2) board mm; ``wobble`` mm by which a free hand strays;
    ``gaps``: (start, end) in mm along it where the pen left nothing; its middle is returned too."""
    path = shapely.LineString([*points, points[0]] if closed else points)
    along = np.arange(0, path.length, 0.25)
    middle = shapely.get_coordinates(shapely.line_interpolate_point(path, np.append(along, path.length)))
    random = np.random.default_rng([seed, 300])
    steps = np.append(along, path.length)
    if wobble:
        waves = [
            random.normal(0, 1, 2)[:, None]
            * np.sin(2 * np.pi * steps / random.uniform(12, 60) + random.uniform(0, 6.3))
            for _ in range(4)
        ]
        stray = np.sum(waves, axis=0).T
        middle = middle + wobble * stray / np.abs(stray).max()
    pieces, kept = [], np.ones(len(steps), bool)
    for start, end in gaps:
        kept &= (steps < start) | (steps > end)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], kept, [False]]).astype(int)))
    for first, last in edges.reshape(-1, 2):
        if last - first > 1:
            pieces.append(shapely.LineString(middle[first:last]).buffer(width / 2, quad_segs=8))
    return Paint(shapely.union_all(pieces), colour, hides), middle


def _lens(random, size, focal_35, radial, beyond):
    """A camera not yet aimed; terms that would fold the picture are drawn again."""
    columns, rows = size
    focal = focal_35 * np.hypot(columns, rows) / DIAGONAL_35
    while True:
        off = 40 * columns / 4000 * np.sqrt(random.uniform()) * _unit(random.uniform(0, 2 * np.pi))
        camera = Camera(
            size=(columns, rows),
            focal=float(focal),
            centre=((columns - 1) / 2 + float(off[0]), (rows - 1) / 2 + float(off[1])),
            radial=(
                *(float(k) for k in random.uniform(-radial, radial, 2)),
                float(beyond * random.uniform(-0.01, 0.01)),
            ),
            tangential=tuple(float(p) for p in beyond * random.uniform(-1e-4, 1e-4, 2)),
            aspect=float(beyond * random.uniform(-1e-4, 1e-4)),
            skew=float(beyond * random.uniform(-1e-4, 1e-4)),
            turn=np.eye(3),
            eye=np.zeros(3),
        )
        if camera.monotonic():
            return camera


def _unit(angle):
    return np.array([np.cos(angle), np.sin(angle)])


def aimed(camera, sheet, random, tilt):
    """The camera held so that the sheet about fills the picture, its long side along the picture's."""
    columns, rows = camera.size
    quarter = 0 if (columns > rows) == (sheet.size[0] > sheet.size[1]) else 90
    roll = quarter + 180 * random.integers(2) + random.uniform(-6, 6)
    lean = turned([*_unit(random.uniform(0, 2 * np.pi)), 0], tilt)
    turn = turned([0, 0, 1], roll) @ np.diag([1.0, -1.0, -1.0]) @ lean
    fill = random.uniform(0.88, 0.98)
    target, far = np.array([*np.array(sheet.size) / 2, 0.0]), 1.5 * max(sheet.size)
    rim = sheet.rim()
    room = fill * np.array([columns, rows])
    for _ in range(60):
        held = replace(camera, turn=turn, eye=target - far * turn[2])
        seen = held.pixels(rim)
        low, high = seen.min(axis=0), seen.max(axis=0)
        shift = ((low + high) / 2 - (np.array([columns, rows]) - 1) / 2) * far / camera.focal
        target = target + 0.7 * (shift[0] * turn[0] + shift[1] * turn[1])
        far *= float(((high - low) / room).max()) ** 0.7
    return replace(camera, turn=turn, eye=target - far * turn[2])


def _lying(random, sheet, body, height, crooked):
    """The board somewhere on the sheet, turned anyhow; its middle at ``height``."""
    x0, y0, x1, y1 = body.polygon.bounds
    middle = np.array([(x0 + x1) / 2 * (-1 if body.bottom else 1), (y0 + y1) / 2])
    spin = turned([0, 0, 1], random.choice([0, 90, 180, 270]) + random.uniform(-25, 25))
    lean = turned([*_unit(random.uniform(0, 2 * np.pi)), 0], crooked)
    turn = lean @ spin
    place = random.uniform([0.2, 0.2], [0.8, 0.8]) * sheet.size
    return replace(body, turn=turn, at=np.array([*place, height]) - turn @ [*middle, 0.0])


def _fits(scene, hidden):
    """Whether the board lies wholly in the picture, above the card, and hides no more than it may."""
    seen = scene.pixels_of(scene.body.rings[0])
    margin = 8
    if (seen < margin).any() or (seen > np.array(scene.size) - margin).any():
        return False
    if abs(scene.body.turn[2, 2]) < 0.9999 and scene.height_at(scene.body.rings[0]).min() < 0:
        return False
    return scene.hidden <= hidden


def _bend(seed, curl, bulge, flat):
    return Bend(
        curl=curl * _stream(seed, 4).choice([-1, 1]),
        along=_stream(seed, 4).uniform(0, 180),
        bulge=bulge,
        waves=_waves(_stream(seed, 5), flat),
    )


def _wanted(random):
    """Half of the boards hide up to a third, the others as little as chance gives up to a sixth."""
    return 1 / 3 if random.uniform() < 0.5 else 1 / 6


def _waves(random, flat):
    """Smooth low-order terms so that the sheet lies between two planes ``flat`` apart, at most."""
    if not flat:
        return ()
    waves = random.normal(0, 1, 6)
    grid = np.stack(np.meshgrid(np.linspace(0, 1, 25), np.linspace(0, 1, 25)), axis=-1).reshape(-1, 2)
    places = Bend(waves=tuple(waves)).world(grid, (1.0, 1.0))
    base = np.column_stack([grid, np.ones(len(grid))])
    off = places[:, 2] - base @ np.linalg.lstsq(base, places[:, 2], rcond=None)[0]
    return tuple(float(w) for w in waves * random.uniform(0, flat) / np.ptp(off))


def _level(sheet, body):
    """The bend taken so that its mean under the board is 0: heights count from the card under the board."""
    x0, y0, x1, y1 = body.polygon.bounds
    grid = np.stack(np.meshgrid(np.linspace(x0, x1, 15), np.linspace(y0, y1, 15)), axis=-1).reshape(-1, 2)
    below = np.clip(body.world(grid)[:, :2], 0, sheet.size)
    return replace(sheet.bend, level=float(sheet.bend.world(below, sheet.size)[:, 2].mean()))


def _mask(random):
    masks = ((24, 92, 52), (26, 56, 120), (32, 34, 34), (140, 30, 34), (60, 96, 50))
    return masks[random.integers(len(masks))]


def _light(random, kind):
    level = random.uniform(0.6, 0.85) if kind != "dim" else random.uniform(0.2, 0.35)
    gradient = random.uniform(-0.5, 0.5, 2) if kind == "slanting" else random.uniform(-0.1, 0.1, 2)
    shadow = glare = None
    if kind == "shadow":
        shadow = tuple(random.uniform([-0.6, -0.6, 0, 0.4, 0.01], [0.6, 0.6, 6.28, 0.75, 0.15]))
    if kind == "glare":
        glare = tuple(random.uniform([-0.7, -0.7, 0.1, 0.2], [0.7, 0.7, 0.35, 0.9]))
    return Light(
        level=float(level),
        gradient=tuple(gradient),
        vignette=float(random.uniform(0, 0.35)),
        shadow=shadow,
        glare=glare,
        cast=tuple(random.uniform(-1, 1, 2)),
        colour=(1.0, float(random.uniform(0.88, 1.0)), float(random.uniform(0.7, 1.0))),
    )


def _exif(random, focal_35):
    """What a file says: the equivalent as a whole number, near what autofocus made of it."""
    told = round(focal_35 * (1 + random.uniform(-0.015, 0.015)))
    return {"make": "Maker", "model": "Camera 1", "focal_35": int(told), "focal_mm": round(focal_35 / 6.5, 2)}
