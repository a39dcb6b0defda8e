"""The job folder to begin with: a job file that explains every key, and the picture beside it."""

from __future__ import annotations

from pathlib import Path

from tomlkit import item

from trimgeo.errors import JobError, printable
from trimgeo.files import atomic_write, make_folder
from trimgeo.jobfile.reading import JOB_NAME
from trimgeo.jobfile.words import short

FILL_IN = "FILL IN"
"""Stands as a text where a value is missing: loading the job names the line until it is replaced."""

_TEXT = """\
# A job for trimgeo.  Replace each "FILL IN"; then: trimgeo check .
# Lengths are millimetres.  Points are [x, y] in the board frame: looking at the top face, x to the
# right, y up.  Lines that begin with # are notes, or keys that may be left out.

[job]
title = {title}           # what the sheets and the report are called
# revision = "A"          # of the board or of this job
# variants = ["display", "blind"]   # where the finished board may do one thing or another:
                          # keep-outs and parts can then belong to some, and commands take --variant

[board]
thickness = "FILL IN"     # measured with a caliper, such as 1.6
edge = "FILL IN"          # the corners of the board, measured: for one 100 wide and 80 high
                          # [[0, 0], [100, 0], [100, 80], [0, 80]]; or {{ file = "edge.dxf" }} with
                          # layer = "EDGE" in the brackets where the drawing has other layers too;
                          # or {{ view = "top" }}: found in that picture
layers = 2                # copper layers, 1 (top) to the last (bottom)
# depths = [0, 1.6]       # of each copper layer below the top face; left out: evenly spaced

# [[board.holes]]         # a hole of the bare board: the outline can be set out from it by caliper
# name = "H1"
# at = [3.5, 3.5]         # its centre
# diameter = 3.2
# plated = true           # false where it is not lined with copper
# on = "top"              # then `at` is a pixel of that view

[[view]]                  # a picture; a second [[view]] takes the other face or an inner layer
name = "top"              # letters, digits, - and _
image = {image}
shows = "top"             # "top", "bottom", or the number of the copper layer that it shows
# Pixels are [column, row], read off in any picture viewer: columns from 0 at the left to {last_column},
# rows from 0 at the top down to {last_row}.
# moment = "before"       # "drawn": with a line drawn on the board; "after": the cut board
# line = "finished"       # what a drawn line is: the "finished" edge, or the "guide" line outside it
#
# The scale: for a phone, best the reference card, printed by: trimgeo card --out card.pdf
# Lay the board on it and tilt the phone by about ten degrees.  `height` is that of the face that is
# seen above the card (its thickness for a bare board), `bars` the card's 100 mm bars by caliper:
# scale = {{ card = "A4", height = 1.6, bars = [99.9, 100.1] }}
# A board that lies crooked on its parts has three heights, each at a pixel of the shown face; there:
# height = [{{ pixel = [4, 5], mm = 8.5 }}, {{ pixel = [99, 5], mm = 9 }}, {{ pixel = [50, 90], mm = 8 }}]
#
# Without a card, the scale comes from points whose places on the board were measured: two or more,
# best the four corners.  `at` is where each is on the board, such as [100, 0] for the lower right corner.
scale = {{ points = [
    {{ pixel = "FILL IN", at = [0, 0] }},         # lower left corner
    {{ pixel = "FILL IN", at = "FILL IN" }},      # lower right corner
    {{ pixel = "FILL IN", at = "FILL IN" }},      # upper right corner
    {{ pixel = "FILL IN", at = "FILL IN" }},      # upper left corner
] }}
# For a flatbed scan, instead of the points: its resolution ("file": what the file says), and where
# the board lies in it: the pixel of (0, 0), and a pixel on the line y = 0 to the right of it (on a
# bottom face: to the viewer's left).
# scale = {{ dpi = 300 }}   # or [300, 301] for x and y
# A scanner bends what it scans by some tenths of a mm.  Turn the board by 180 degrees on the glass, scan
# it again (same area, same resolution; a few degrees askew show more) and name that file; an even error
# of scale stays hidden, which long `checks` (below) then show:
# scale = {{ dpi = 300, turned = "scan-turned.png" }}
# place = {{ origin = [120, 2950], along = [3900, 2948] }}
# Another view can lend its millimetres, or say where the board lies, by spots that both show:
# scale = {{ like = "b", points = [{{ pixel=[4, 5], there=[6, 8] }}, {{ pixel = [9, 5], there = [8, 8] }}] }}
# place = {{ like = "b", points = [{{ pixel=[4, 5], there=[6, 8] }}, {{ pixel = [9, 5], there = [8, 8] }}] }}
# Lengths measured by caliper, to compare with the picture:
# checks = [{{ from = [412, 1033], to = [1912, 1030], length = 50.8 }}]

[[keepout]]               # what the finished edge stays clear of; one such table for each
name = "U1"
kind = "component"        # component, trace, via, pad, hole, copper or other
on = "top"                # the points are pixels of that view; leave it out to give millimetres
polygon = "FILL IN"       # corners in order around it, such as [[900, 700], [1400, 700], [1400, 1100]]
# circle = {{ at = [900, 700], diameter = 3.2 }}                  # instead of polygon
# path = {{ points = [[900, 700], [1400, 700]], width = 0.25 }}   # instead of polygon
# layers = [1, 2]         # copper layers that it lies on; trace, pad and copper need them
# height = 8.5            # above its face
# traced = "top"          # the outline marked is that of its top, which leans away from the camera; or "foot"
# net = "GND"
# clearance = 0.8         # for this one, instead of what its kind requires
# may_cut = false         # true: may be severed, and is then reported as such
# variants = ["display"]  # belongs to these only

# [[keepouts]]            # many keep-outs of one kind, drawn on a layer of a DXF or SVG file
# file = "keepouts.dxf"
# layer = "PARTS"
# kind = "component"      # and the keys from `layers` on, as above

# [[copper]]              # the copper that a picture of a layer shows: found by itself
# view = "inner-2"
# layer = 2
# copper_is = "light"     # or "dark": how copper looks in that picture
# level = 128             # the grey level between copper and the rest; left out: found
# speck = 0.02            # mm²: what is smaller is dust
# may_cut = true          # planes and traces may be severed, and are then reported as such
# nets = [{{ net = "GND", at = [12.5, 30] }}]  # names the copper there; also `may_cut`, `on`

# [[lift]]                # a part that comes off before cutting
# name = "J3"
# polygon = [[60, 10], [75, 10], [75, 20], [60, 20]]   # or circle; pixels with `on`
# face = "top"            # the face that it stands on
# height = 12             # also `on` and `variants`, as above

# [[part]]                # a part that may be lost: lifted where it stands in the way; keys as [[lift]]

[cutter]
kind = "wheel"            # wheel, bit or blade
kerf = 1.0                # what the cut turns to dust: measure it on a trial cut in scrap
diameter = 38             # of the wheel or bit
wander = 0.3              # how far the hand strays to either side
breakthrough = 0.5        # how far a wheel passes the far face
# face = "top"            # the face from which it is cut
# holder = {{ radius = 10, reach = 6 }}   # of the hand-piece, to see what it runs into

[finish]
sanding = 0.3             # left outside the finished edge by the cut, and taken off with abrasive

[outline]
build = {{ cuts = 4 }}      # the smallest with at most so many; or "fewest" that fit the [case]; or
                          # "smallest", which goes on as long as one more cut gains 1 % of the area
# gain = 50               # mm² that one more cut must gain; left out: 1 % of the area
# allow_inside_corners = false            # none that a straight cutter would overrun
# round = 0.5             # mm grid for its corners, always to the safe side
# neck = 5                # the least width in mm at which the finished board holds together
# points = [[0, 0], [50, 0], [50, 40], [0, 40]]   # a line of your own, instead of build
# on = "top"              # then its points are pixels of that view
# file = "outline.dxf"    # a line drawn elsewhere, instead of build
# layer = "FINISHED"      # in that file
# view = "drawn"          # the line drawn on the board in that picture, instead of build
# near = [[410, 320], [2950, 330], [2940, 2100]]  # its rough corners, as pixels, if it is not found
# pen = "middle"          # of the pen's stroke, or "inside": its inner edge

# [clearance]             # required from each kind to the new edge; left out: as printed in the report
# component = 0.5         # also trace, via, pad, copper, hole and other

# [placing]               # standard uncertainties of bringing the line to the board and finishing it
# print = 0.10
# taping = 0.15
# finish = 0.10

# [case]                  # the enclosure, in the board frame
# cavity = [[-1, -1], [62, -1], [62, 41], [-1, 41]]   # or {{ file = "case.dxf" }}
# gap = 0.3               # least gap between board and case
# holes = [{{ at = [5, 5], diameter = 6 }}]   # posts: circles, lists of points, or {{ file, layer }}
# lid = 14                # from the board's top face to the lid; also `floor`, under the bottom face

# [sheet]
# paper = "A4"            # A4, A3 or letter
# stretch = [1.0, 1.0]    # measured / nominal length of the printed bars, x and y

# [[probe]]               # a place where a rail is measured
# name = "TP1"
# at = [12.5, 30]         # a pixel with `on`
# face = "top"
# rail = "3V3"

# Before cutting: glass-fibre dust harms lungs, skin and eyes, so work wet or with extraction, and wear
# a mask (N95 or FFP2 at least) and eye protection.  Unplug the board from the mains, take out every
# battery, lithium cells above all, and let capacitors discharge.  Local codes and licensed
# practice come before anything said here.
"""


def starter_job(title: str, photo_name: str, size_px: tuple[int, int]) -> str:
    """A commented job file for a picture of (columns, rows) pixels; what to fill in is marked.

    Raises `trimgeo.JobError` for a name of the picture that cannot stand in a job file.

    >>> starter_job("Logger", "scan.png", (4000, 3000)).count(FILL_IN) > 5
    True
    """
    if printable(photo_name) != photo_name:
        raise JobError(printable(photo_name), "found signs in its name that no text can hold", "rename it")
    columns, rows = size_px
    return _TEXT.format(
        title=item(short(title) or "Board").as_string(),
        image=item(photo_name).as_string(),
        last_column=columns - 1,
        last_row=rows - 1,
    )


def start_folder(folder: Path, photo: Path, size_px: tuple[int, int]) -> Path:
    """Make a job folder with a starter job and a copy of the picture; the job file's path.

    The folder is made where it is missing.

    Raises `trimgeo.JobError` where the folder holds a job, or another picture of that name, already.
    """
    job, copy = folder / JOB_NAME, folder / photo.name
    text = starter_job(folder.absolute().name, photo.name, size_px)
    if job.exists():
        raise JobError(printable(str(job)), "found a job there already", "name another folder")
    picture = _bytes(photo)
    if copy.exists() and _bytes(copy) != picture:
        raise JobError(printable(str(copy)), "found another file of that name", "rename the picture")
    make_folder(folder)
    if not copy.exists():
        atomic_write(copy, picture)
    atomic_write(job, text.encode())
    return job


def _bytes(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise JobError(printable(str(file)), f"cannot be read ({reason})", "name a picture") from None
