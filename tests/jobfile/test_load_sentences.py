"""Each mistake in a job file ends in one sentence with file, table, entry, key, finding and fix."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from trimgeo.errors import JobError
from trimgeo.jobfile import load

BOARD = """[job]
title = "t"
[board]
thickness = 1.6
edge = [[0, 0], [100, 0], [100, 80], [0, 80]]
"""
VIEW = '[[view]]\nname = "top"\nimage = "a.png"\nshows = "top"\nscale = { dpi = 300 }\n'
VIA = '[[keepout]]\nname = "V1"\nkind = "via"\ncircle = { at = [1, 1], diameter = 1 }\n'


def sentence(folder: Path, text: str | bytes, variant: str | None = None) -> str:
    (folder / "job.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
    before = Path.cwd()
    os.chdir(folder)
    try:
        with pytest.raises(JobError) as caught:
            load("job.toml", variant=variant)
    finally:
        os.chdir(before)
    said = str(caught.value)
    assert "\n" not in said
    assert said.endswith(".")
    assert str(folder) not in said
    return said


FORM = [
    ("", r"job\.toml: found no \[job\]; add .*title"),
    ('[job]\ntitle = "t"\n', r"job\.toml: found no \[board\]; add .*thickness = 1\.6.*edge"),
    ("job = 3\n" + BOARD.replace('[job]\ntitle = "t"\n', ""), r"\[job\]: found 3; give a table"),
    (BOARD.replace("1.6", '"1.6"'), r'\[board\], thickness: found "1\.6"; give a number: the thickness'),
    (BOARD.replace("1.6", "true"), r"\[board\], thickness: found true; give a number"),
    (BOARD.replace("1.6", "-1.6"), r"thickness: found -1\.6; give a number of at least 0\.001"),
    (BOARD.replace("1.6", "nan"), r"thickness: found nan; give a finite number"),
    (BOARD.replace("1.6", "1e9"), r"thickness: found 1000000000\.0; give .* at most 1000, .*unit mistake"),
    (BOARD.replace("[100, 80]", '[100, "a"]'), r'\[board\], edge, point 3, y: found "a"; give a number'),
    (BOARD.replace("[100, 80]", "[100]"), r"edge, point 3: found a list of 1; give two numbers, \[x, y\]"),
    (BOARD.replace("[100, 80]", "[1, 2, 3]"), r"edge, point 3: found a list of 3; give two numbers"),
    (BOARD.replace("[100, 80]", "7"), r"edge, point 3: found 7; give two numbers"),
    (BOARD.replace("[100, 80]", "[-inf, 80]"), r"point 3, x: found -inf; give a finite number"),
    (BOARD.replace("[100, 80]", f"[0x{'f' * 9000}, 80]"), r"point 3, x: found a whole number of more than"),
    (BOARD.replace("[[0, 0], [100, 0], ", "[").replace("edge = [[", "edge = [["), r"found a list of 2"),
    (BOARD.replace("[[0, 0], [100, 0], [100, 80], [0, 80]]", "3"), r"edge: found 3; give the edge .* points"),
    (BOARD.replace("[[0, 0], [100, 0], [100, 80], [0, 80]]", '{ fil = "x" }'), r'"fil"; the nearest .* file'),
    (BOARD + "depths = [0]\n", r"\[board\], depths: found 1 depths for 2 copper layers; give one"),
    (BOARD + "depths = [1, 0.5]\n", r"depths: found depths that do not increase"),
    (BOARD + "depths = [0, 1.7]\n", r"depths: found a layer 1\.7 mm deep in a board 1\.6 mm thick"),
    (BOARD + "layers = 2.0\n", r"\[board\], layers: found 2\.0; give a whole number"),
    (BOARD + "layers = 65\n", r"layers: found 65; give a number of at most 64"),
    (
        BOARD + '[[board.holes]]\nname = "H"\nat = [1, 2]\ndiameter = 0\n',
        r'\[\[board\.holes\]\] "H", diameter',
    ),
    (BOARD + '[[board.hole]]\nname = "H"\n', r'\[board\]: found an unknown key "hole"; .* holes'),
    (BOARD + '[cutter]\nkind = "wheel"\nkerff = 1\n', r'\[cutter\]: .*unknown key "kerff"; .* is kerf\.'),
    (BOARD + '[cutter]\nkind = "saw"\nkerf = 1\n', r'kind: found "saw"; give what cuts: wheel, bit or blade'),
    (BOARD + '[cutter]\nkind = "bit"\n', r"\[cutter\]: found no kerf; add kerf: the width"),
    (BOARD + '[[cutter]]\nkind = "bit"\nkerf = 1\n', r"\[cutter\]: found a list of 1; give a table"),
    (BOARD + '[keepout]\nname = "a"\n', r"\[\[keepout\]\]: found a table; give .*\[\[keepout\]\].*double"),
    (BOARD + '[[keepout]]\nname = "A"\nkind = "via"\n', r'"A": found neither polygon nor circle nor path'),
    (BOARD + VIA + "polygon = [[0, 0], [1, 0], [1, 1]]\n", r'"V1", circle: found it together with polygon'),
    (BOARD + VIA.replace('"V1"', "3"), r"\[\[keepout\]\] number 1, name: found 3; give a text in quotes"),
    (BOARD + VIA.replace('name = "V1"\n', ""), r"\[\[keepout\]\] number 1: found no name; add name"),
    (BOARD + VIA.replace("diameter = 1", "diam = 1"), r'"V1", circle: found an unknown key "diam"'),
    (BOARD + VIA.replace('"via"', '"pad"'), r'"V1", layers: found no layers for a keep-out of kind pad'),
    (BOARD + VIA + 'may_cut = "true"\n', r'"V1", may_cut: found "true"; give true or false'),
    (BOARD + VIA + "layers = []\n", r'"V1", layers: found an empty list; give a list of at least 1'),
    (BOARD + VIA + "layers = [1, 1.5]\n", r'"V1", layers, number 2: found 1\.5; give a whole number'),
    (
        BOARD + '[[keepouts]]\nfile = "a.dxf"\nlayer = "L"\nkind = "trace"\n',
        r"\[\[keepouts\]\] number 1, layers",
    ),
    (BOARD + VIEW.replace("300", "true"), r'\[\[view\]\] "top", scale, dpi: found true; give the resolution'),
    (BOARD + VIEW.replace("300", "[300]"), r"scale, dpi: found a list of 1; give two numbers"),
    (
        BOARD + VIEW.replace("dpi = 300", 'card = "A4"'),
        r'"top", scale: found no height; add height: how high',
    ),
    (BOARD + VIEW.replace("dpi = 300", 'card = "A5", height = 2'), r'scale, card: found "A5"'),
    (
        BOARD + VIEW.replace("dpi = 300", 'card = "A4", height = 2, bar = 1'),
        r'unknown key "bar".*known key is bars',
    ),
    (
        BOARD + VIEW.replace("dpi = 300", 'card = "A4", height = 2, bars = [9.7, 9.7]'),
        r"scale, bars, x: found 9.7",
    ),
    (
        BOARD + VIEW.replace("dpi = 300", 'card = "A4", height = []'),
        r"scale, height: found .*a list of at least 3",
    ),
    (
        BOARD + VIEW.replace("dpi = 300", 'like = "back", points = [{ pixel = [1, 2], there = [3, 4] }]'),
        r"scale, points: .*a list of at least 2",
    ),
    (
        BOARD
        + VIEW.replace(
            "dpi = 300",
            'like = "top", points = [{ pixel = [1, 2], there = [3, 4] }, { pixel = [5, 2], there = [7, 4] }]',
        ),
        r'"top", scale.like: found a view registered on itself',
    ),
    (BOARD + VIEW + 'moment = "later"\n', r'moment: found "later"; give when it was taken'),
    (BOARD + '[[copper]]\nview = "in2"\nlayer = 2\n', r'\[\[copper\]\] number 1, view: found "in2"'),
    (BOARD + VIEW + '[[copper]]\nview = "top"\nlayer = 2\n', r'found layer 2, and view "top" shows layer 1'),
    (
        BOARD.replace("edge = [[0, 0], [100, 0], [100, 80], [0, 80]]", 'edge = { view = "tp" }') + VIEW,
        r'\[board\], edge.view: found "tp".*nearest view is "top"',
    ),
    (BOARD + VIA + 'traced = "top"\n', r'"V1", traced: found it without on; name its view'),
    (
        BOARD + VIEW.replace('shows = "top"', "shows = 1.5"),
        r'"top", shows: found 1\.5; give a whole number: what it',
    ),
    (BOARD + VIEW.replace('name = "top"', 'name = "../x"'), r'name: found "\.\./x"; give a name of letters'),
    (BOARD + VIEW.replace('"a.png"', '"a\\u0000.png"'), r"image: found .*; give the file name"),
    (BOARD + "[outline]\n", r"\[outline\]: found neither points nor file nor build nor view; give one of"),
    (BOARD + '[outline]\nbuild = "least"\n', r'\[outline\], build: found "least"; give how to build it'),
    (BOARD + "[outline]\nbuild = { cuts = -1 }\n", r"\[outline\], build, cuts: found -1"),
    (BOARD + '[outline]\nfile = "a.dxf"\nbuild = "smallest"\n', r"build: found it together with file"),
    (BOARD + '[outline]\nfile = "a.dxf"\non = "top"\n', r"\[outline\], on: found it without points"),
    (BOARD + '[outline]\nview = "top"\n', r'\[outline\], view: found "top", and there is no such view'),
    (BOARD + VIEW + '[outline]\nbuild = "smallest"\npen = "inside"\n', r"pen: found it without view"),
    (
        BOARD + "[sheet]\nstretch = [0.1, 1]\n",
        r"\[sheet\], stretch, x: found 0\.1; give a number of at least",
    ),
    (BOARD + "[case]\ngap = 1\n", r"\[case\]: found no cavity; add cavity: the inside of the case as points"),
    (BOARD + "[keepot]\n", r'unknown table or key "keepot"; the nearest .* keepout\.'),
    ('folder = "/"\n' + BOARD, r'unknown table or key "folder"'),
    ('variant = "a"\n' + BOARD, r'unknown table or key "variant"'),
    (BOARD.replace('"t"', '"' + "x" * 201 + '"'), r'\[job\], title: found "x+…"; give a text of at most 200'),
    (BOARD.replace('"t"', '""'), r'title: found ""; give a text that is not empty'),
    (BOARD.replace('"t"', "1979-05-27"), r"title: found 1979-05-27; give a text in quotes"),
]

AGREEMENT = [
    (BOARD + VIA + VIA, r'number 2, name: found "V1", which number 1 has already'),
    (BOARD + VIEW + VIEW.replace("top", "TOP", 1), r'\[\[view\]\] number 2, name: found "TOP"'),
    (BOARD + VIA + "layers = [3]\n", r'"V1", layers: found layer 3, and the board has 2; give layers from 1'),
    (BOARD + VIEW.replace('shows = "top"', "shows = 3"), r'"top", shows: found layer 3'),
    (BOARD + VIEW + VIA + 'on = "topp"\n', r'"V1", on: found "topp".*the nearest view is "top"'),
    (BOARD + VIA + 'on = "top"\n', r'"V1", on: found "top".*add a \[\[view\]\]'),
    (
        BOARD + '[outline]\npoints = [[0, 0], [9, 0], [9, 9]]\non = "x"\n' + VIEW,
        r'\[outline\], on: found "x".*name one of: top',
    ),
    (BOARD + VIA + 'variants = ["a"]\n', r'"V1", variants: found "a", which \[job\] does not list; add it'),
    (BOARD.replace('"t"', '"t"\nvariants = ["a", "a"]'), r'\[job\], variants: found "a" twice'),
]

TOML = [
    (
        BOARD.replace('"t"', '"t'),
        r"""line 2, column \d+: found 'title = "t', which.*close the text with a second \"""",
    ),
    (
        BOARD + "[board]\n",
        r"line 6, column \d+: found '\[board\]', which.*\(cannot declare.*each \[table\] once",
    ),
    (BOARD + VIA.replace("[[keepout]]", "[keepout]") + "[[keepout]]\n", r"\[\[keepout\]\] double brackets"),
    (BOARD.replace('"t"', "t"), r"""line 2, .*found 'title = t', which.*put texts in "quotes"\."""),
    (BOARD.replace('"t"', "\u201ct\u201d"), r"use straight quotes"),
    (BOARD + 'image = "C:\\Users\\me\\a.png"\n', r"write paths with / in place of \\"),
    (BOARD + "[finish]\nsanding = 0,3\n", r"line 7, .*found 'sanding = 0,3'.*with a point"),
    (BOARD + "[finish]\nsanding = .3  # mm\n", r"digits on both sides of the point"),
    (BOARD + "[finish]\nsanding = 0.3 mm\n", r"give the number alone, in mm"),
    (
        BOARD + "[x]\na = { b = [[100, 200], [300, 400]], c = [500, 600], w = 0,4 }\n",
        r"found '…c = \[500, 600\], w = 0,4 }'.*with a point",
    ),
    (BOARD + "a = [1,\n", r"job\.toml, at its end: found no valid TOML"),
    (BOARD + "a = " + "[" * 100_000, r"job\.toml: found lists or tables nested too deeply"),
    (BOARD + "a = " + "{b = " * 100_000, r"job\.toml: found lists or tables nested too deeply"),
    (BOARD + "a" + ".a" * 2_000 + " = 1\n", r'\[board\]: found an unknown key "a"'),
    (BOARD + "a = " + "9" * 9000 + "\n", r"found a whole number of thousands of digits"),
    (BOARD.encode() + b"\xff", r"job\.toml, line 6: found byte 0xFF, which is no UTF-8; save"),
    (BOARD.encode("utf-16"), r"job\.toml: found text in UTF-16; save it as UTF-8"),
    (BOARD.encode() + b"\x00", r"job\.toml, line 6, column 1: found '\ufffd', which is no valid TOML"),
]


@pytest.mark.parametrize(("text", "said"), FORM)
def test_what_has_the_wrong_form_is_named(tmp_path: Path, text: str, said: str) -> None:
    assert re.search(said, sentence(tmp_path, text))


@pytest.mark.parametrize(("text", "said"), AGREEMENT)
def test_what_contradicts_another_table_is_named(tmp_path: Path, text: str, said: str) -> None:
    assert re.search(said, sentence(tmp_path, text))


@pytest.mark.parametrize(("text", "said"), TOML, ids=range(len(TOML)))
def test_what_is_no_text_or_no_toml_is_said_with_its_line(
    tmp_path: Path, text: str | bytes, said: str
) -> None:
    assert re.search(said, sentence(tmp_path, text))


def test_a_job_with_variants_lists_them_when_none_is_named(tmp_path: Path) -> None:
    text = BOARD.replace('"t"', '"t"\nvariants = ["display", "blind"]')
    assert "found the variants display, blind; name the one to compute with --variant" in sentence(
        tmp_path, text
    )
    assert 'found no variant "displai"; the nearest one is "display"' in sentence(tmp_path, text, "displai")
    assert 'found no variant "q"; those of this job are: display, blind' in sentence(tmp_path, text, "q")
    assert "found no variants; leave --variant out" in sentence(tmp_path, BOARD, "display")


@pytest.mark.parametrize("path", ["missing.toml", "a\0b", "x" * 5000, "missing/job.toml", "", "\udcff"])
def test_a_path_that_leads_to_no_job_is_named(tmp_path: Path, path: str) -> None:
    before = Path.cwd()
    os.chdir(tmp_path)
    try:
        with pytest.raises(JobError) as caught:
            load(path)
    finally:
        os.chdir(before)
    str(caught.value).encode()


def test_a_folder_or_a_pipe_in_place_of_the_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "job.toml").mkdir()
    with pytest.raises(JobError, match="found no such file"):
        load(tmp_path / "job.toml")
    with pytest.raises(JobError, match="no plain file"):
        load(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.toml")
        with pytest.raises(JobError, match="no plain file"):
            load(tmp_path / "pipe.toml")
