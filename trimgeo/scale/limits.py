"""What the scale of a picture takes for granted, each with its reason.

Lengths are millimetres; densities are pixels per millimetre.
"""

from __future__ import annotations

from typing import Final

CALIPER: Final = 0.03
"""Standard uncertainty of a position or length measured by caliper: the greatest permissible error of
a digital caliper is about 0.03 mm up to 150 mm (ISO 13385-1, from memory)."""

SCANNER_SCALE: Final = 0.25 / 150 / 2
"""Standard uncertainty, mm per mm, of a flatbed's own scale, x and y apart: 0.25 mm systematic over
150 x 220 mm without calibration (ISPRS Congress XVIII), taken as a 95 % bound over the shorter side."""

LEAST_DENSITY: Final = 0.5
"""Below this a pixel is wider than a trace with its clearance: no such picture shows a board."""

GREATEST_DENSITY: Final = 2000.0
"""Above this (50,800 dpi) a pixel is shorter than a wavelength of light: a mistake of units."""

LEAST_APART: Final = 2.0
"""Pixels nearer than this are one reading: four standard uncertainties of a reading."""

LEAST_HEIGHT: Final = 5.0
"""Points that leave a line by less than this many pixels lie on it, as far as readings can tell."""

LEAST_SLENDER: Final = 0.01
"""Points that leave a line by less than this part of their length lie on it: a map from them would
magnify every reading a hundredfold across the line."""

BROAD: Final = 0.1
"""A triangle higher than this part of its longest side turns over by a swap, not by a misreading."""

LEAST_AXIS: Final = 5.0
"""Pixels from origin to the pixel on the x axis: nearer than this they fix no direction."""

PLACEHOLDER_DPI: Final = (72.0, 96.0)
"""What programs write into a file when nobody told them a resolution (common practice)."""

MISFIT: Final = 5.0
"""Pixels: a point that its fellows predict worse than this was misread or mistyped: ten standard
uncertainties of a reading."""

MARGIN: Final = 10.0
"""How far a true-scale picture reaches past the board edge: room for run-outs and labels."""

MOST_LEFT_OUT: Final = 0.01
"""Share of the board that a picture may leave out without a word: a tight crop, a little skew."""

CARD_HEIGHT: Final = 0.1
"""Standard uncertainty, mm, of a height above the card: a ruler or a caliper's depth rod on soft paper, read
to a fifth of a millimetre."""

CARD_FLAT: Final = 0.04
"""Standard uncertainty, mm, of each smooth bend of a card that lies flat: a sheet between two planes
0.1 mm apart."""

CARD_RESETTLES: Final = 0.02
"""How differently, mm, a card that lies still may lie in two photos: half of `CARD_FLAT`."""

CARD_BEND_SHOWN: Final = 0.15
"""A bend, mm, over the corners' reach from which on a card is told to be curled: flat is 0.1 mm."""

UNKNOWN_SCALE: Final = 0.03
"""Standard uncertainty, mm per mm, of a card nobody measured: programs and printers shrink to 94 to 97 %
(arithmetic of "fit to page"), stated as a bound of 6 %."""

SIZE_USUAL: Final = 0.2
"""A card larger or smaller by more than this share was printed so on purpose, or its bars were mistyped."""

UNEQUAL_SCALE: Final = 0.003
"""Standard uncertainty, mm per mm, of a printer's x against its y: 0.1 to 0.5 % on modern engines (from
memory)."""

FOCAL_TOLD: Final = 0.05
"""Relative standard uncertainty of a focal length told as 35 mm equivalent: rounded to whole millimetres
(1 %), by the diagonal or by the width of a 4 : 3 picture (4 %), and changed by focusing near (3 %)."""

FOCAL_UNTOLD: Final = 0.35
"""The same of a camera that tells nothing, about `FOCAL_GUESS`: 14 to 54 mm within two."""

FOCAL_GUESS: Final = 27.0
"""Focal length of a common phone, mm equivalent (common practice)."""

CENTRE_SHARE: Final = 0.01
"""Standard uncertainty of the principal point as a share of the picture's diagonal: 50 pixels at 12
megapixels."""

CENTRE_UNTOLD: Final = 0.06
"""The same of a picture whose file tells no focal length, or a wrong one: it may have been cut."""

CENTRE_CROPPED: Final = 0.1
"""The same about the border of a picture of which some half was cut away, and of a picture whose shape is no
camera's: 0.2 to 0.3 of a side of it."""

FRAMES: Final = (1.0, 5 / 4, 4 / 3, 3 / 2, 16 / 9)
"""Shapes, longer by shorter side, of cameras' whole pictures (common practice)."""

FRAME_ROUNDING: Final = 0.01
"""A shape that differs from these by more than this share is that of a picture which was cut."""

RADIAL_TERMS: Final = (0.15, 0.15, 0.02)
"""Standard uncertainties of k1, k2, k3 of a lens nobody calibrated: phones straighten their pictures, few
well."""

DECENTRING: Final = 0.0003
"""Standard uncertainty of p1 and p2: a lens element off by some micrometres."""

PIXEL_SHAPE: Final = 0.0001
"""Standard uncertainty of a pixel's height / width and of its skew: chips are square to this, exposure by
rows in a moving hand is not."""

FEW_CORNERS: Final = 12
"""Fewer corners than this leave lens and pose undetermined, with nothing to check them."""

FOCAL_OPEN: Final = 0.04
"""Relative standard uncertainty of the focal length from which on a tilted photo is advised: below
`FOCAL_TOLD`, so that a length that rests on its file alone is said to."""

LEAST_UNEQUAL: Final = 0.0005
"""Half the difference of a card's x and y, mm per mm, below which nothing is said of it: what a caliper
reads of a bar."""

FAR_OFF: Final = 3.0
"""Misses so many times what the corners are known to have a cause that no camera or bend explains."""

MOST_SPREAD: Final = 15.0
"""Corners that lie this many times farther off than they were read show no flat card through a lens: a
picture put together, a card glued or creased (measured: tests/bench/worst_pictures.py)."""
