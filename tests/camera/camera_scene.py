"""What stands before the camera, and the truth about it: closed form, no picture needed."""

from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import shapely
from camera_lens import Camera
from camera_sheet import Sheet, divided
from PIL import Image

from trimgeo.model.card import CARDS

ANOTHER_VIEW = 1_000_000
"""What each further photo adds to the seed of a scene."""


@dataclass(frozen=True)
class Part:
    """A box that stands on the shown face: its foot (board mm), height, colour (sRGB)."""

    foot: shapely.Polygon
    height: float
    colour: tuple[int, int, int] = (30, 30, 32)


@dataclass(frozen=True)
class Paint:
    """Something flat on the shown face: an area (board mm), colour (sRGB) and how much it hides."""

    area: shapely.Polygon | shapely.MultiPolygon
    colour: tuple[int, int, int]
    hides: float = 1.0


@dataclass(frozen=True, eq=False)
class Body:
    """A board: its polygon (board mm, holes in it), and where its shown face lies in the world.

    A point (x, y) of the board lies at ``at`` + ``turn`` (m x, y, 0), where m = -1 looking at the bottom.
    """

    polygon: shapely.Polygon
    thickness: float
    turn: np.ndarray
    at: np.ndarray
    bottom: bool = False
    parts: tuple[Part, ...] = ()
    paint: tuple[Paint, ...] = ()
    colour: tuple[int, int, int] = (24, 92, 52)
    traces: bool = True

    def world(self, board_mm, above=0.0):
        """Places, shape (n, 3), of board positions, shape (n, 2), so far above the shown face."""
        xy = np.atleast_2d(np.asarray(board_mm, float))
        local = np.column_stack(
            [xy[:, 0] * (-1 if self.bottom else 1), xy[:, 1], np.broadcast_to(above, len(xy))]
        )
        return self.at + local @ self.turn.T

    @property
    def rings(self):
        """The rim and the rims of the holes, each (n, 2), sides divided to at most 2 mm."""
        turned = shapely.geometry.polygon.orient(self.polygon)
        return [open_ring(ring) for ring in (turned.exterior, *turned.interiors)]


def open_ring(ring, step=2.0):
    """A ring's points, shape (n, 2), the first not repeated, with no side longer than ``step`` mm."""
    return shapely.get_coordinates(shapely.segmentize(ring, step))[:-1]


@dataclass(frozen=True)
class Light:
    """How a scene is lit: all made-up numbers in shares of full white.

    ``gradient`` (x, y): change of light across the picture; ``vignette``: loss in the corners;
    ``shadow``: None or (x, y, angle, depth, softness) of a soft-edged half plane, in shares of the picture;
    ``glare``: None or (x, y, size, strength); ``cast`` (x, y): how far a shadow falls for each mm of height.
    """

    level: float = 0.75
    gradient: tuple[float, float] = (0.0, 0.0)
    vignette: float = 0.1
    shadow: tuple[float, float, float, float, float] | None = None
    glare: tuple[float, float, float, float] | None = None
    cast: tuple[float, float] = (0.5, -0.6)
    colour: tuple[float, float, float] = (1.0, 0.97, 0.9)


@dataclass(frozen=True, eq=False)
class Scene:
    """A photo yet to be taken.

    ``blur``: sigma in pixels; ``electrons``: how many make full white (shot noise); ``quality`` of the
    JPEG; ``exif``: what the file says of the camera; ``readings``: what a person reads off: bars, height(s).
    """

    seed: int
    camera: Camera
    sheet: Sheet | None
    body: Body | None
    light: Light = Light()
    blur: float = 0.7
    electrons: float = 8000.0
    quality: int = 90
    grey: bool = False
    mirrored: bool = False
    exif: dict[str, float | int | str] = field(default_factory=dict)
    strata: dict[str, str | float] = field(default_factory=dict)

    @property
    def size(self):
        return self.camera.size

    @property
    def things(self):
        """The seed of what all photos of a scene share: board, table, and what was read by caliper."""
        return self.seed % ANOTHER_VIEW

    def pixels_of(self, board_mm, above=0.0):
        """True pixels, shape (n, 2), of positions on the shown face, shape (n, 2), mm (or above it)."""
        return self._seen(self.body.world(board_mm, above))

    def card_pixels(self, card_mm):
        """True pixels, shape (n, 2), of the card's nominal positions, shape (n, 2), mm."""
        return self._seen(self.sheet.world(card_mm))

    def _seen(self, world):
        pixels = self.camera.pixels(world)
        if self.mirrored:
            pixels[:, 0] = self.size[0] - 1 - pixels[:, 0]
        return pixels

    def height_at(self, board_mm):
        """Height of the shown face above the card's mean plane, shape (n,), mm."""
        return self.body.world(board_mm)[:, 2]

    @cached_property
    def silhouette(self):
        """What the board hides of the picture (pixels, before mirroring): its face and all below it."""
        rim, depths = self.body.rings[0], (0.0, -self.body.thickness)
        face, back = (self.camera.pixels(self.body.world(rim, depth)) for depth in depths)
        sides = np.stack([face, np.roll(face, -1, 0), np.roll(back, -1, 0), back], axis=1)
        return shapely.union_all([shapely.Polygon(face), shapely.Polygon(back), *shapely.polygons(sides)])

    @cached_property
    def corners(self):
        """Numbers, shape (n,), and true pixels, shape (n, 2), of the card's corners that can be seen."""
        card = CARDS[self.sheet.paper]
        ids = card.corner_ids
        at = self.camera.pixels(self.sheet.world(card.corners(ids)))
        seen = ((at > 2) & (at < np.array(self.size) - 3)).all(axis=1)
        if self.body is not None:
            seen &= ~shapely.contains_xy(shapely.buffer(self.silhouette, 3), at[:, 0], at[:, 1])
        return ids[seen], self._seen(self.sheet.world(card.corners(ids[seen])))

    @property
    def hidden(self):
        """The share of the card's corners that cannot be seen."""
        return 1 - len(self.corners[0]) / len(CARDS[self.sheet.paper].corner_ids)

    @cached_property
    def bars(self):
        """The card's 100 mm bars as a person reads them: within 0.05 mm."""
        error = np.random.default_rng([self.things, 77]).uniform(-0.05, 0.05, 2)
        return tuple(round(float(b), 3) for b in 100 * np.array(self.sheet.scale) + error)

    def height_read(self, at=None):
        """The height of the shown face at a board position (its middle) by caliper: within 0.05 mm."""
        at = np.array([self.body.polygon.centroid.coords[0] if at is None else at])
        error = np.random.default_rng([self.things, 78, *np.abs(at[0] * 100).astype(int)]).uniform(
            -0.05, 0.05
        )
        return round(float(self.height_at(at)[0] + error), 3)

    def read_off(self, board_mm, sigma=0.5, stream=79):
        """Pixels of board positions, shape (n, 2), as a person reads them off: with a Gaussian error."""
        true = self.pixels_of(board_mm)
        return true + np.random.default_rng([self.seed, stream]).normal(0, sigma, true.shape)

    def render(self):
        """The picture: uint8, shape (rows, columns, 3), blue first."""
        from camera_render import render

        return render(self)

    def save(self, path, picture=None, orientation=None):
        """Write the picture as a file of the kind that the name ends in, with EXIF; returns the path."""
        picture = self.render() if picture is None else picture
        image = Image.fromarray(picture[:, :, ::-1].copy())
        if self.grey:
            image = image.convert("L")
        exif = Image.Exif()
        for tag, value in (
            (271, self.exif.get("make")),
            (272, self.exif.get("model")),
            (274, orientation),
        ):
            if value is not None:
                exif[tag] = value
        inner = exif.get_ifd(0x8769)
        for tag, value in ((37386, self.exif.get("focal_mm")), (41989, self.exif.get("focal_35"))):
            if value is not None:
                inner[tag] = value
        if orientation is not None:
            image = image.transpose(_STORED[orientation]) if orientation != 1 else image
        settings = {"quality": self.quality} if Path(path).suffix in (".jpg", ".jpeg") else {}
        image.save(path, exif=exif, **settings)
        return path

    def with_(self, **changes):
        return replace(self, **changes)


_STORED = {
    3: Image.Transpose.ROTATE_180,
    6: Image.Transpose.ROTATE_90,
    8: Image.Transpose.ROTATE_270,
}
"""How the pixels of an upright picture are stored where EXIF says 3, 6 or 8 (EXIF 2.3, tag 274)."""


def card_rings(sheet, camera, boxes):
    """Pixels of rectangles of the card, shape (n, 4, 2) nominal mm: a list of rings."""
    large = (boxes.max(axis=1) - boxes.min(axis=1)).max(axis=1) > 3
    rings = []
    for chosen, parts in ((large, 6), (~large, 1)):
        cut = divided(boxes[chosen], parts)
        if cut.size:
            flat = camera.pixels(sheet.world(cut.reshape(-1, 2)))
            rings += [*flat.reshape(len(cut), -1, 2)]
    return rings
