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
