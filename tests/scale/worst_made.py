"""The worst pictures of a board on its card: what a case is, and those covered, cut and put together.

A kind is a function of (camera, seed, folder) that writes a picture and returns a `Case`.  Truth comes from
tests/camera and from the map that each spoiling of a picture is: a shift, a homography, a known wave.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely

SIZE = (1600, 1200)
BOX = shapely.box(0, 0, 150, 95)


@dataclass(frozen=True, eq=False)
class Case:
    """A picture and the job that is written about it.

    ``places`` (n, 2) board mm and where the picture shows them, ``pixels`` (n, 2), None where it shows
    no board; ``usable``: a right answer exists; ``hidden``: what the person says is wrong and nothing in
    the picture can tell; ``read`` origin and along as read off.
    """

    file: str
    usable: bool
    places: np.ndarray
    pixels: np.ndarray | None
    size: tuple[int, int]
    read: np.ndarray
    edge: list
    card: str = "A4"
    height: str = "0"
    bars: tuple | None = (100.0, 100.0)
    hidden: bool = False


KINDS = {}


def scene_of(camera, seed, **settings):
    """The simulated photo of a seed, or of the next one for which the board finds a place on the card."""
    for again in range(5):
        try:
            return camera.random_scene(seed + 1000 * again, **{"size": SIZE} | settings)
        except ValueError:
            continue
    raise ValueError(f"no scene {seed} with {settings}")


def places_of(polygon):
    x0, y0, x1, y1 = polygon.bounds
    grid = np.stack(np.meshgrid(np.linspace(x0, x1, 13), np.linspace(y0, y1, 9)), axis=-1).reshape(-1, 2)
    return grid[shapely.covers(polygon, shapely.points(grid))]


def ends_of(polygon):
    """The two places that a person reads off: the ends of the board's lower side."""
    x0, y0, x1, _ = polygon.bounds
    return np.array([[x0, y0], [x1, y0]])


def read_from(scene, size, moved):
    """Two places side by side that the picture shows, (2, 2) mm: the lower side's ends if it can be."""
    ends, places = ends_of(scene.body.polygon), places_of(scene.body.polygon)
    room = np.array(size) - 1

    def shown(at):
        pixels = moved(scene.pixels_of(at))
        return ((pixels > 4) & (pixels < room - 4)).all(axis=1)

    if shown(ends).all():
        return ends
    seen = places[shown(places)]
    rows = [seen[seen[:, 1] == y] for y in np.unique(seen[:, 1])]
    longest = max(rows, key=lambda row: np.ptp(row[:, 0]), default=ends)
    return longest[[np.argmin(longest[:, 0]), np.argmax(longest[:, 0])]]


def case(scene, file, size, moved=lambda p: p, *, usable=True, **told):
    """The case of a scene whose picture's pixels were ``moved``; its frame begins where it is read."""
    polygon = scene.body.polygon
    sheet = {} if scene.sheet is None else {"bars": scene.bars, "card": scene.sheet.paper}
    told = {"height": str(max(scene.height_read(), 0.0))} | sheet | told
    read = read_from(scene, size, moved)
    return Case(
        file,
        usable,
        places_of(polygon) - read[0],
        moved(scene.pixels_of(places_of(polygon))),
        tuple(size),
        moved(scene.read_off(read)),
        [[float(v) for v in p] for p in shapely.get_coordinates(polygon)[:-1] - read[0]],
        **told,
    )


def spoilt(camera, seed, folder, change, *, usable=True, settings=None, told=None, suffix="jpg", **kept):
    """A picture changed by ``change(picture, scene, random)``, that returns it, or it and a map of pixels."""
    scene = replace(scene_of(camera, seed, **(settings or {})), **kept)
    given = change(scene.render(), scene, np.random.default_rng([seed, 500]))
    picture, moved = given if isinstance(given, tuple) else (given, lambda p: p)
    scene.save(folder / f"photo.{suffix}", np.ascontiguousarray(picture))
    size = picture.shape[1::-1]
    told = told(scene) if callable(told) else (told or {})
    return case(scene, f"photo.{suffix}", size, moved, usable=usable, **told)


def as_it_is(picture, scene, random):
    return picture


def homography(picture, matrix, size, border=(90, 90, 90)):
    """The picture through a homography of pixels, and the same map for places."""
    warped = cv2.warpPerspective(
        picture, matrix, size, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_CONSTANT, borderValue=border
    )
    return warped, lambda p: cv2.perspectiveTransform(np.asarray(p, float)[None], matrix)[0]


def cut(picture, box):
    left, top, right, bottom = box
    return picture[top:bottom, left:right], lambda p: p - [left, top]


def along_rows(picture, shift):
    """Each row moved right by ``shift(row)`` pixels."""
    rows, columns = picture.shape[:2]
    x, y = np.meshgrid(np.arange(columns, dtype=np.float32), np.arange(rows, dtype=np.float32))
    taken = cv2.remap(
        picture, x - shift(y).astype(np.float32), y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return taken, lambda p: p + np.column_stack([shift(p[:, 1]), np.zeros(len(p))])


def card_area(scene, *box):
    """Pixels of an area of the sheet, in shares of its size, as a ring of whole pixels."""
    ring = shapely.get_coordinates(shapely.segmentize(shapely.box(*box).normalize(), 0.05))
    return scene.card_pixels(ring * scene.sheet.size).round().astype(np.int32)


def filled(picture, ring, colour):
    return cv2.fillPoly(picture.copy(), [ring], colour, cv2.LINE_AA)


def light(change):
    """A change of linear light (here by the power 2.2) as a change of pixels."""
    return lambda picture, *_: np.clip(
        255 * change((picture / 255.0) ** 2.2).clip(0, 1) ** (1 / 2.2), 0, 255
    ).astype(np.uint8)


# --- covered, cut off, cut apart -----------------------------------------------------------------------

THIRDS = {
    "left": (0, 0, 0.34, 1), "right": (0.66, 0, 1, 1), "top": (0, 0.66, 1, 1), "bottom": (0, 0, 1, 0.34),
    "all but a third": (0.34, 0, 1, 1), "all but a corner": None,
}  # fmt: skip


def covered_part(picture, scene, random, part=None):
    colour = tuple(int(c) for c in random.integers(20, 200, 3))
    boxes = [(0, 0, 0.7, 1), (0, 0, 1, 0.75)] if part is None else [part]
    for box in boxes:
        board = scene.pixels_of(scene.body.rings[0]).round().astype(np.int32)
        hidden = np.zeros(picture.shape[:2], np.uint8)
        cv2.fillPoly(hidden, [card_area(scene, *box)], 255)
        cv2.fillPoly(hidden, [board], 0)
        picture = np.where(hidden[:, :, None] > 0, np.uint8(colour), picture)
    return picture


for name, part in THIRDS.items():
    KINDS[f"covered: {name}"] = lambda camera, seed, folder, part=part, name=name: spoilt(
        camera, seed, folder, lambda *a: covered_part(*a, part=part), usable=name != "all but a corner"
    )


def cropped(picture, scene, random, box):
    rows, columns = picture.shape[:2]
    return cut(picture, [int(share * side) for share, side in zip(box, (columns, rows) * 2, strict=True)])


CROPS = {
    "cropped: right half gone": (0, 0, 0.5, 1),
    "cropped: lower half gone": (0, 0, 1, 0.5),
    "cropped: left 15 % gone": (0.15, 0, 1, 1),
    "cropped: 25 % off two sides": (0.25, 0.25, 1, 1),
    "cropped: 12 % all round": (0.12, 0.12, 0.88, 0.88),
    "cropped: 30 % off the top": (0, 0.3, 1, 1),
}
for name, box in CROPS.items():
    KINDS[name] = lambda camera, seed, folder, box=box: spoilt(
        camera, seed, folder, lambda *a: cropped(*a, box=box)
    )


def far_off(camera, seed, folder):
    """A small card in a corner of the picture, cut out of it: the principal point lies far outside."""

    scene = scene_of(camera, seed, size=(2000, 1500))
    # the picture of a larger chip, of which this is a part
    held = replace(
        scene.camera, centre=(scene.camera.centre[0] - 300, scene.camera.centre[1] - 200), size=SIZE
    )
    scene = replace(scene, camera=held)
    scene.save(folder / "photo.jpg")
    return case(scene, "photo.jpg", SIZE)


KINDS["cropped: principal point 100 pixels off"] = far_off


# --- made of several -----------------------------------------------------------------------------------


def beside(picture, other, over=False):
    """Two pictures in one, the first at the left (or on top), at half their size."""
    small = [cv2.resize(p, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA) for p in (picture, other)]
    both = np.concatenate(small, axis=0 if over else 1)
    return both, lambda p: (p + 0.5) * 0.6 - 0.5


def two_cards(camera, seed, folder, paper="A4", over=False):
    other = scene_of(camera, seed + 50, paper=paper).render()
    return spoilt(camera, seed, folder, lambda p, *_: beside(p, other, over), usable=paper != "A4")


KINDS["two cards"] = two_cards
KINDS["two cards, one above the other"] = lambda *a: two_cards(*a, over=True)
KINDS["a second card for letter"] = lambda *a: two_cards(*a, paper="letter")
KINDS["a second card for A3"] = lambda *a: two_cards(*a, paper="A3")


def ghost(picture, scene, random, by=12, share=0.4):
    moved = np.roll(picture, (by, by), (0, 1))
    return cv2.addWeighted(picture, 1 - share, moved, share, 0)


KINDS["double exposure"] = lambda *a: spoilt(*a, ghost, usable=False)
KINDS["double exposure, faint"] = lambda *a: spoilt(*a, lambda *b: ghost(*b, by=6, share=0.15), usable=False)


def stitched(picture, scene, random, by):
    half = picture.shape[1] // 2
    picture = picture.copy()
    picture[:, half:] = np.roll(picture[:, half:], by, 0)
    return picture, lambda p: p + np.column_stack([np.zeros(len(p)), by * (p[:, 0] >= half)])


for by in (2, 6, 20):
    KINDS[f"stitched {by} pixels off"] = lambda *a, by=by: spoilt(
        *a, lambda *b: stitched(*b, by=by), usable=False
    )


def rows_lost(picture, scene, random, count=12):
    middle = picture.shape[0] // 2
    kept = np.concatenate([picture[:middle], picture[middle + count :]])
    return kept, lambda p: p - np.column_stack([np.zeros(len(p)), count * (p[:, 1] >= middle)])


KINDS["rows lost"] = lambda *a: spoilt(*a, rows_lost, usable=False)


def combed(picture, scene, random):
    picture = picture.copy()
    picture[1::2] = np.roll(picture[1::2], 6, 1)
    return picture


KINDS["interlaced while moving"] = lambda *a: spoilt(*a, combed, usable=False)
