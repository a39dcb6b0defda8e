"""The worst pictures: cards that were printed, cut, glued or bent wrongly, and persons who misread."""

from dataclasses import dataclass, replace

import numpy as np
import shapely
from camera_sheet import Sheet
from worst_made import KINDS, as_it_is, card_area, case, filled, scene_of, spoilt

SMALL = shapely.box(0, 0, 60, 40)


@dataclass(frozen=True)
class Torn(Sheet):
    """A card cut across its middle and glued: its upper part lies (right, up) off, mm, turned by degrees."""

    off: tuple[float, float] = (2.0, 0.0)
    turn: float = 0.0

    def world(self, card_mm):
        at = super().world(card_mm)
        upper = np.asarray(card_mm, float)[:, 1] > self.size[1] / 2
        angle, middle = np.radians(self.turn), np.array(self.size) / 2
        turned = (at[:, :2] - middle) @ np.array(
            [[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]
        )
        at[upper, :2] = (turned + middle + self.off)[upper]
        return at


@dataclass(frozen=True)
class Creased(Sheet):
    """A card folded across its middle and opened again: it rises by ``slope`` on one side."""

    slope: float = 0.05

    def world(self, card_mm):
        at = super().world(card_mm)
        at[:, 2] += self.slope * np.maximum(at[:, 1] - self.size[1] / 2 + 40, 0)
        return at


@dataclass(frozen=True)
class Swelled(Sheet):
    """A card printed unevenly: its scale grows along the sheet (a printer's feed that slips)."""

    growth: float = 0.01

    def world(self, card_mm):
        at = super().world(card_mm)
        share = at[:, 1] / self.size[1] - 0.5
        at[:, 1] += self.growth * self.size[1] * share**2
        return at


def put(name, change=as_it_is, usable=True, settings=None, told=None, sheet=None):
    def made(camera, seed, folder):
        kept = {}
        if sheet is not None:
            plain = scene_of(camera, seed, **(settings or {})).sheet
            kept["sheet"] = sheet(plain)
        return spoilt(camera, seed, folder, change, usable=usable, settings=settings, told=told, **kept)

    KINDS[name] = made


def as_torn(off, turn=0.0):
    return lambda plain: Torn(plain.paper, plain.scale, plain.bend, off=off, turn=turn)


def part_lost(picture, scene, random):
    """A corner and a strip cut out of the paper: the table shows."""
    table = tuple(int(c) for c in np.median(picture[:20, :20].reshape(-1, 3), axis=0))
    corner = random.choice([0.0, 0.65])
    for box in ((corner, corner, corner + 0.35, corner + 0.35), (0.4, 0, 0.55, 0.2)):
        board = shapely.Polygon(scene.pixels_of(scene.body.rings[0]))
        ring = shapely.Polygon(card_area(scene, *box)).buffer(0).difference(board.buffer(2))
        for piece in shapely.get_parts(ring):
            if piece.geom_type == "Polygon":
                picture = filled(
                    picture, shapely.get_coordinates(piece.exterior).round().astype(np.int32), table
                )
    return picture


def large_board(camera, seed, folder, polygon, usable):
    """A board that covers nearly all of the card, square to it."""
    scene = scene_of(camera, seed)
    body = replace(scene.body, polygon=polygon, turn=np.eye(3), at=np.array([0.0, 0.0, scene.body.at[2]]))
    scene = replace(scene, body=body)
    scene.save(folder / "photo.jpg")
    return case(scene, "photo.jpg", scene.size, usable=usable)


def three(scene, on_a_line=False, added=0.0):
    places = (
        np.array([[20.0, 20], [75, 50], [130, 80]]) if on_a_line else np.array([[6.0, 6], [144, 8], [70, 89]])
    )
    pixels = scene.read_off(places, stream=81)
    points = [f"{{ pixel = {p.round(2).tolist()}, mm = {scene.height_read() + added} }}" for p in pixels]
    return "[" + ", ".join(points) + "]"


def scaled(x, y=None):
    return {"print_scale": (x, x if y is None else y)}


KINDS["board over all but a corner"] = lambda *a: large_board(
    *a, shapely.box(-10, -15, 220, 310) - shapely.box(130, 210, 230, 320), True
)
KINDS["board over all but a strip"] = lambda *a: large_board(*a, shapely.box(-5, -5, 215, 275), False)
KINDS["board over all of the card"] = lambda *a: large_board(*a, shapely.box(-5, -5, 215, 302), False)

put("no card, a white sheet", sheet=lambda plain: replace(plain, printed=False), usable=False)
put("no card, a bare table", sheet=lambda plain: None, usable=False)
put("wrong paper asked: letter", told={"card": "letter"}, usable=False)
put("wrong paper asked: A3", told={"card": "A3"}, usable=False)
put("A3 card, A4 asked", settings={"paper": "A3"}, told={"card": "A4"}, usable=False)
put("A3 card", settings={"paper": "A3"})
put("letter card", settings={"paper": "letter"})
put("card with part cut out", part_lost)
put("card glued, 2 mm apart", sheet=as_torn((0.0, 2.0)), usable=False)
put("card glued, 2 mm aside", sheet=as_torn((2.0, 0.0)), usable=False)
put("card glued, 0.4 mm aside", sheet=as_torn((0.4, 0.0)), usable=False)
put("card glued, turned by 1 degree", sheet=as_torn((0.0, 0.0), 1.0), usable=False)
put("card glued, turned by 5 degrees", sheet=as_torn((3.0, 2.0), 5.0), usable=False)
put("card creased", sheet=lambda p: Creased(p.paper, p.scale, p.bend), usable=False)
put("card creased slightly", sheet=lambda p: Creased(p.paper, p.scale, p.bend, slope=0.01), usable=False)
put("card whose print slipped by 1 %", sheet=lambda p: Swelled(p.paper, p.scale, p.bend), usable=False)
put("card printed at 50 %, bars true", settings={**scaled(0.5), "board": SMALL})
put(
    "card printed at 50 %, bars not measured",
    settings={**scaled(0.5), "board": SMALL},
    told={"bars": (100, 100), "hidden": True},
    usable=False,
)
put(
    "card printed at 50 %, no bars",
    settings={**scaled(0.5), "board": SMALL},
    told={"bars": None},
    usable=False,
)
put("card printed at 141 %, bars true", settings=scaled(1.41))
put("card printed at 97 %, no bars", settings=scaled(0.97), told={"bars": None})
put(
    "card printed at 97 %, bars not measured",
    settings=scaled(0.97),
    told={"bars": (100, 100), "hidden": True},
    usable=False,
)
put("card stretched by 1.5 %, bars true", settings=scaled(1.0, 0.985))
put(
    "card stretched by 1.5 %, bars swapped",
    settings=scaled(1.0, 0.985),
    told=lambda s: {"bars": s.bars[::-1]},
    usable=False,
)
put(
    "card stretched by 1.5 %, bars not measured",
    settings=scaled(1.0, 0.985),
    told={"bars": (100, 100)},
    usable=False,
)
put("bars in inches", told={"bars": (3.94, 3.94)}, usable=False)
put("bars in centimetres", told={"bars": (10.0, 10.0)}, usable=False)
put("one bar misread by 10 mm", told={"bars": (110.0, 100.0)}, usable=False)
put("both bars misread by 1 mm", told={"bars": (101.0, 101.0), "hidden": True}, usable=False)
put("card curled by 5 mm", settings={"curl": 5.0})
put("card curled by 15 mm", settings={"curl": 15.0}, usable=False)
put("card curled by 40 mm", settings={"curl": 40.0}, usable=False)
put("card bulged by 6 mm", settings={"bulge": 6.0}, usable=False)
put("card rumpled", settings={"flat": 3.0}, usable=False)
put("height 0 told of 20 mm", settings={"height": 20.0}, told={"height": "0", "hidden": True}, usable=False)
put("height 30 told of 3 mm", settings={"height": 3.0}, told={"height": "30", "hidden": True}, usable=False)
put("height of 60 mm", settings={"height": 60.0})
put("height as three points", told=lambda s: {"height": three(s)})
put("heights on a line", told=lambda s: {"height": three(s, on_a_line=True)}, usable=False)
put(
    "heights far apart for a flat board",
    settings={"crooked": 20.0, "heights": (40, 60)},
    told=lambda s: {"height": three(s), "hidden": True},
    usable=False,
)
put("height negative", told={"height": "-3"}, usable=False)
put("height in micrometres", told={"height": "3200"}, usable=False)
put("height beyond the camera", told={"height": "900"}, usable=False)
put("seen very steeply", settings={"tilt": 50.0})
put("seen grazing", settings={"tilt": 65.0}, usable=False)
put("seen from straight above", settings={"tilt": 0.0})
put("fisheye", settings={"radial": 0.12, "focal_35": 15.0, "beyond": 3.0})
put("telephoto", settings={"focal_35": 120.0, "radial": 0.02})


def swapped(camera, seed, folder):
    """Origin and the pixel along x swapped: the job's board lies where the picture shows table."""
    made = spoilt(camera, seed, folder, as_it_is, usable=False)
    return replace(made, read=made.read[::-1], hidden=True)


def place_of(change, hidden=False):
    def made(camera, seed, folder):
        given = spoilt(camera, seed, folder, as_it_is, usable=False)
        return replace(given, read=change(given.read), hidden=hidden)

    return made


KINDS["place pixels swapped"] = swapped
KINDS["place pixels as row and column"] = place_of(lambda read: read[:, ::-1], hidden=True)
KINDS["place pixels the same"] = place_of(lambda read: read[[0, 0]])
KINDS["place off the picture"] = place_of(lambda read: read + 5000)
