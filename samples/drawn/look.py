"""How parts look from above: bodies, leads, shadows."""

from __future__ import annotations

from collections.abc import Callable

from drawn.board import Part
from drawn.lettering import strokes
from drawn.pins import pins, turned
from drawn.raster import XY, Box, Canvas, Colour, Disc, Moved, Path, Poly, Rim, Shape, paint

TIN: Colour = (196, 198, 194)
GOLD: Colour = (206, 172, 88)
BLACK: Colour = (38, 39, 42)
WHITE: Colour = (226, 229, 222)


def write(
    canvas: Canvas,
    text: str,
    at: XY,
    height: float,
    colour: Colour,
    upright: bool = False,
    width: float = 0.0,
) -> None:
    """Letters on a part, read from the side the canvas looks from."""
    for line in strokes(text, at, height, canvas.mirrored, upright):
        paint(canvas, Path(line, width or height * 0.13), colour, 0.9)


def lit(canvas: Canvas, strength: float) -> XY:
    """A ramp that is lighter towards the scanner's lamp, to the upper left as seen."""
    return (strength if canvas.mirrored else -strength), strength


def shadow(canvas: Canvas, shape: Shape, height: float) -> None:
    """The soft shadow of a body, longer and fainter for a higher one."""
    reach = 0.15 + 0.05 * height
    side = -reach if canvas.mirrored else reach
    paint(canvas, Moved(shape, (side, -reach)), (6, 16, 12), 0.5, soft=0.3 + 0.08 * height)


def block(canvas: Canvas, at: XY, size: XY, colour: Colour, corner: float = 0.25, rim: float = 26.0) -> None:
    """A moulded body: lit across, with a lighter bevel."""
    slope = 14.0 / max(size)
    paint(canvas, Box(at, size, corner), colour, ramp=lit(canvas, slope))
    bevel = Rim(Box(at, (size[0] - 0.5, size[1] - 0.5), corner), 0.18)
    paint(canvas, bevel, lighter(colour, rim), 0.6, ramp=lit(canvas, 2.2 * slope))


def lighter(colour: Colour, by: float) -> Colour:
    """The same colour, each channel raised."""
    return colour[0] + by, colour[1] + by, colour[2] + by


def place(part: Part, x: float, y: float) -> XY:
    """A spot of the part by its own axes."""
    u, v = turned((x, y), part.turn)
    return part.at[0] + u, part.at[1] + v


def span(part: Part, along: float, across: float) -> XY:
    """A size along the part's own axes, as placed."""
    return (across, along) if part.turn % 2 else (along, across)


def leads(canvas: Canvas, part: Part, share: float = 0.7) -> None:
    """Flat leads on the pads of a part without holes."""
    for pin in pins(part):
        paint(canvas, Box(pin.at, (pin.size[0] * share, pin.size[1] * share)), (168, 170, 172))


def _ic(canvas: Canvas, part: Part) -> None:
    leads(canvas, part, 0.75)
    trim = 2.4 if part.style == "quad" else 2.2
    w, h = part.size[0] - trim, part.size[1] - (trim if part.style == "quad" else 0.2)
    shadow(canvas, Box(part.at, (w, h), 0.2), part.height)
    block(canvas, part.at, (w, h), BLACK, 0.2, 16.0)
    paint(canvas, Disc((part.at[0] - w / 2 + 0.9, part.at[1] + h / 2 - 0.9), 0.7), (70, 71, 74))
    write(canvas, part.name, part.at, min(1.4, 0.2 * w + 0.3), (128, 130, 130), upright=h > w)


def _socket(canvas: Canvas, part: Part) -> None:
    shadow(canvas, Box(part.at, part.size, 0.3), part.height)
    block(canvas, part.at, part.size, (222, 214, 190), 0.3, 14.0)
    paint(
        canvas,
        Box(place(part, -1.2, 0.0), span(part, 5.2, 11.6), 0.3),
        (186, 176, 150),
        ramp=lit(canvas, 1.2),
    )
    paint(canvas, Box(place(part, -4.4, 0.0), span(part, 1.2, 4.0), 0.2), (150, 140, 116))
    for pin in pins(part):
        paint(canvas, Box(pin.at, (1.1, 1.1)), (150, 142, 122))
        paint(canvas, Box(pin.at, (0.64, 0.64)), TIN, ramp=lit(canvas, 40.0))
        x, y = turned((-2.4, 0.0), part.turn)
        paint(canvas, Path((pin.at, (pin.at[0] + x, pin.at[1] + y)), 0.5), TIN)


def _shell(canvas: Canvas, part: Part) -> None:
    leads(canvas, part)
    shell = Box((part.at[0], part.at[1] + 0.5), (part.size[0], part.size[1] - 1.0), 0.5)
    shadow(canvas, shell, part.height)
    paint(canvas, shell, (178, 181, 184), ramp=lit(canvas, 3.0))
    paint(canvas, Rim(shell, 0.22), (120, 123, 126))
    for x in (-3.6, 3.6):
        paint(canvas, Box(place(part, x, 1.8), (1.4, 3.6), 0.2), (128, 131, 134))
        paint(canvas, Box(place(part, x, 1.6), (0.9, 2.8), 0.2), (196, 199, 202))
    write(canvas, part.label, place(part, 0.0, -2.2), 1.8, (116, 118, 122))


def _header(canvas: Canvas, part: Part) -> None:
    shadow(canvas, Box(part.at, part.size, 0.2), part.height)
    block(canvas, part.at, part.size, (30, 31, 34), 0.2, 22.0)
    for pin in pins(part):
        paint(canvas, Box(pin.at, (1.7, 1.7), 0.3), (22, 23, 25))
        paint(canvas, Box(pin.at, (0.66, 0.66), 0.1), GOLD, ramp=lit(canvas, 50.0))


def _terminal(canvas: Canvas, part: Part) -> None:
    shadow(canvas, Box(part.at, part.size, 0.3), part.height)
    block(canvas, part.at, part.size, (206, 116, 44), 0.3, 28.0)
    for pin in pins(part):
        screw = pin.at
        paint(canvas, Disc(screw, 3.9), (112, 60, 22))
        paint(canvas, Disc(screw, 3.4), (186, 188, 188), ramp=lit(canvas, 9.0))
        paint(
            canvas,
            Path(((screw[0] - 1.1, screw[1] - 0.7), (screw[0] + 1.1, screw[1] + 0.7)), 0.5),
            (70, 70, 72),
        )
        x, y = turned((0.0, -4.0), part.turn)
        paint(canvas, Box((screw[0] + x, screw[1] + y), span(part, 3.4, 2.0), 0.2), (92, 46, 16))
    for n in range(part.pins - 1):
        seam = (n - (part.pins - 2) / 2) * 5.0
        ends = place(part, seam, -5.4), place(part, seam, 5.4)
        paint(canvas, Path(ends, 0.2), (150, 80, 28))


def _relay(canvas: Canvas, part: Part) -> None:
    body = Box(part.at, part.size, 0.6)
    shadow(canvas, body, part.height)
    block(canvas, part.at, part.size, (34, 70, 122), 0.6, 30.0)
    inner = Box(part.at, (part.size[0] - 2.4, part.size[1] - 2.4), 0.4)
    paint(canvas, Rim(inner, 0.2), (22, 48, 88))
    write(canvas, part.label, (part.at[0], part.at[1] + 2.6), 2.4, (214, 220, 226))
    write(canvas, "12V 5A", (part.at[0], part.at[1] - 1.2), 1.4, (186, 196, 206))
    write(canvas, part.name, (part.at[0], part.at[1] - 4.4), 1.4, (186, 196, 206))


def _can(canvas: Canvas, part: Part) -> None:
    d = part.size[0]
    (x, y), dark = part.at, (30, 34, 46)
    shadow(canvas, Disc(part.at, d), part.height)
    paint(canvas, Disc(part.at, d), dark, ramp=lit(canvas, 1.6))
    paint(canvas, Box((x - 0.455 * d, y), (0.06 * d, 0.26 * d), 0.02 * d), (176, 180, 190))
    paint(canvas, Disc(part.at, 0.84 * d), (178, 180, 183), ramp=lit(canvas, 26.0 / d))
    paint(canvas, Rim(Disc(part.at, 0.78 * d), 0.03 * d), (150, 152, 156))
    r = 0.3 * d
    for u, v in ((r, 0.0), (0.0, r)):
        paint(canvas, Path(((x - u, y - v), (x + u, y + v)), 0.035 * d), (126, 128, 132))


def _coin(canvas: Canvas, part: Part) -> None:
    d, at = part.size[0], part.at
    for pin in pins(part):
        paint(canvas, Disc(pin.at, 2.6), TIN)
    shadow(canvas, Disc(at, d), part.height)
    paint(canvas, Disc(at, d), (44, 45, 48), ramp=lit(canvas, 0.9))
    paint(canvas, Rim(Disc(at, d - 1.4), 0.3), (74, 75, 78))
    paint(canvas, Disc(at, d - 3.4), (24, 24, 26))
    paint(canvas, Disc(at, d - 4.0), (188, 190, 190), ramp=lit(canvas, 1.7))
    for ring in range(7):
        level = 180 if ring % 2 else 202
        paint(canvas, Rim(Disc(at, d - 6.0 - 1.9 * ring), 0.35), (level, level + 1, level), 0.5, soft=0.5)
    paint(canvas, Rim(Disc(at, d - 4.6), 0.22), (140, 142, 142))
    write(canvas, "+", (at[0], at[1] + 4.6), 3.2, (138, 140, 140))
    write(canvas, "3V", (at[0], at[1] - 1.0), 2.4, (146, 148, 148))
    clip = ((at[0] + d / 2 - 0.4, at[1] - 2.2), (at[0] + 4.2, at[1] - 1.3))
    strip = Poly((*clip, (clip[1][0], at[1] + 1.3), (clip[0][0], at[1] + 2.2)))
    shadow(canvas, strip, 1.5)
    paint(canvas, strip, (204, 205, 200), ramp=lit(canvas, 3.0))


def _crystal(canvas: Canvas, part: Part) -> None:
    w, h = part.size
    shadow(canvas, Box(part.at, part.size, h / 2 - 0.01), part.height)
    paint(canvas, Box(part.at, part.size, h / 2 - 0.01), (150, 152, 154))
    paint(canvas, Box(part.at, (w - 0.9, h - 0.9), h / 2 - 0.5), (190, 192, 194), ramp=lit(canvas, 6.0))
    write(canvas, "32K", part.at, 1.3, (126, 128, 130))


def _fuse(canvas: Canvas, part: Part) -> None:
    (x, y), (w, h) = part.at, part.size
    shadow(canvas, Box(part.at, part.size, 0.4), part.height)
    block(canvas, part.at, part.size, (46, 46, 50), 0.4, 20.0)
    paint(canvas, Box(part.at, (w - 3.0, h - 1.6), 0.4), (204, 212, 206), ramp=(0.0, 16.0))
    paint(canvas, Path(((x - w / 2 + 3.0, y - 0.2), (x + w / 2 - 3.0, y + 0.2)), 0.16), (96, 92, 84))
    for side in (-1, 1):
        paint(
            canvas, Box((x + side * (w / 2 - 3.6), y), (4.0, h - 1.2), 0.3), (190, 186, 172), ramp=(0.0, 22.0)
        )


def _buzzer(canvas: Canvas, part: Part) -> None:
    d = part.size[0]
    shadow(canvas, Disc(part.at, d), part.height)
    paint(canvas, Disc(part.at, d), (40, 41, 44), ramp=lit(canvas, 2.0))
    paint(canvas, Rim(Disc(part.at, d - 1.2), 0.25), (70, 71, 74))
    paint(canvas, Disc(part.at, 2.4), (8, 8, 9))
    write(canvas, "+", (part.at[0] - 3.2, part.at[1] + 2.4), 1.5, (150, 150, 150))


def _button(canvas: Canvas, part: Part) -> None:
    shadow(canvas, Box(part.at, part.size, 0.2), part.height)
    block(canvas, part.at, part.size, (176, 178, 180), 0.2, 20.0)
    paint(canvas, Disc(part.at, 3.5), (34, 34, 36), ramp=lit(canvas, 5.0))
    for pin in pins(part):
        paint(canvas, Disc(pin.at, 0.7), (110, 112, 114))


def _coil(canvas: Canvas, part: Part) -> None:
    leads(canvas, part, 0.9)
    shadow(canvas, Box(part.at, part.size, 2.0), part.height)
    block(canvas, part.at, part.size, (62, 63, 66), 2.0, 18.0)
    paint(canvas, Disc(part.at, 7.6), (84, 85, 88), ramp=lit(canvas, 3.0))
    write(canvas, part.name, part.at, 2.0, (176, 178, 178))


def _tab(canvas: Canvas, part: Part) -> None:
    leads(canvas, part, 0.85)
    w, h = span(part, *part.size)
    body = place(part, 0.0, -0.2)
    size = span(part, w * 0.92, h - 4.6)
    shadow(canvas, Box(body, size, 0.15), part.height)
    block(canvas, body, size, BLACK, 0.15, 18.0)
    write(canvas, part.name, body, 1.2, (128, 130, 130), upright=size[1] > size[0])


def _diode(canvas: Canvas, part: Part) -> None:
    leads(canvas, part, 0.9)
    body = span(part, 4.4, 2.6)
    shadow(canvas, Box(part.at, body, 0.1), part.height)
    block(canvas, part.at, body, (42, 42, 45), 0.1, 16.0)
    paint(canvas, Box(place(part, -1.5, 0.0), span(part, 0.6, 2.6)), (176, 178, 178))


def _chip(canvas: Canvas, part: Part) -> None:
    size = span(part, 2.1, 1.25)
    shadow(canvas, Box(part.at, size), part.height)
    paint(canvas, Box(part.at, size), (190, 191, 190), ramp=lit(canvas, 8.0))
    colour = (34, 35, 38) if part.name[0] == "R" else (168, 132, 92)
    paint(canvas, Box(part.at, span(part, 1.2, 1.25)), colour, ramp=lit(canvas, 8.0))


LOOKS: dict[str, Callable[[Canvas, Part], None]] = {
    "quad": _ic,
    "dual": _ic,
    "socket": _socket,
    "shell": _shell,
    "header": _header,
    "terminal": _terminal,
    "relay": _relay,
    "can": _can,
    "coin": _coin,
    "crystal": _crystal,
    "fuse": _fuse,
    "buzzer": _buzzer,
    "button": _button,
    "coil": _coil,
    "tab": _tab,
    "diode": _diode,
    "chip": _chip,
}
