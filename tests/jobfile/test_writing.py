"""Writing an outline changes the outline; starting a folder gives a job that runs once filled in."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from trimgeo.errors import JobError
from trimgeo.files import atomic_write, json_bytes, make_folder
from trimgeo.jobfile import load
from trimgeo.jobfile.starter import FILL_IN, start_folder, starter_job
from trimgeo.jobfile.writing import with_outline, write_outline
from trimgeo.model import job as model
from trimgeo.model.keys import Table

POINTS = [(0, 0), (1.5, -0.0), (0.1 + 0.2, 7)]
WRITTEN = {"points": [[0.0, 0.0], [1.5, 0.0], [0.30000000000000004, 7.0]]}

JOBS = [
    "",
    "# only a note\n",
    "[job]",
    'outline.build = "smallest"\n[job]\n',
    '# a\n[outline] # b\n# c\nbuild = "smallest" # d\n# e\ngain = 5\n\n# f\n[cutter] # g\nkerf = 1\n',
    'outline = { build = "smallest", gain = 3 } # a\n[job]\n',
    '[outline]\r\nbuild = "smallest" # a\r\n\r\n# b\r\n[cutter]\r\n',
    "[outline]",
    "[outline]\n# a\n\n# b\n[cutter]\n",
    "# a\n[outline.build]\ncuts = 3\n[cutter]\n# b",
    "[outline]\nbuild.cuts = 3\n# a\n[cutter]\n",
    "[outline]\npoints = [[1, 2],\n [3, 4], [5, 6]] # a\n[cutter]",
    '[job]\n[outline]\nlayer = "y"\nfile = "x"\n[[keepout]] # a\n',
    '[job]\ntitle = """\n[outline]\n"""\n[[keepout]]\n# a',
    '[job]\n"outline" = 3\n["outline"]\n\'build\' = "smallest"\n',
]


NECKS = [
    '[outline]\nbuild = "fewest"\nneck = 8  # a\n[cutter]\n',
    '[outline]\nneck = 8\nbuild = "fewest"\nround = 0.5\n',
    'outline = { neck = 8, build = "smallest" } # a\n[job]\n',
    "# a\n[outline.build]\ncuts = 3\n[outline]\nneck = 8\n[cutter]\n# b",
    "[outline]\nbuild.cuts = 3\nneck = 8\n",
    "[outline]\nneck = 8\n",
]


def names(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


@pytest.mark.parametrize("text", JOBS)
def test_writing_an_outline_changes_the_outline_alone(text: str) -> None:
    changed = with_outline(text, POINTS)
    assert tomllib.loads(changed) == {**tomllib.loads(text), "outline": WRITTEN}
    assert re.findall("# .", changed) == re.findall("# .", text)
    if "\r\n" in text:
        assert "\n" not in changed.replace("\r\n", "")


@pytest.mark.parametrize("text", NECKS)
def test_the_width_that_holds_together_stays_when_an_outline_is_written(text: str) -> None:
    changed = with_outline(text, POINTS)
    assert tomllib.loads(changed)["outline"] == {**WRITTEN, "neck": 8}
    assert re.findall("# .", changed) == re.findall("# .", text)
    assert with_outline(changed, POINTS) == changed


@pytest.mark.parametrize("text", JOBS)
def test_writing_the_same_outline_again_changes_nothing(text: str) -> None:
    once = with_outline(text, POINTS)
    assert with_outline(once, POINTS) == once


def test_all_lines_outside_the_outline_stay_byte_for_byte() -> None:
    text = starter_job("Logger", "a.png", (400, 300))
    before, after = text.split("build = { cuts = 4 }")
    changed = with_outline(text, POINTS)
    assert changed.startswith(before)
    assert changed.endswith(after)


@settings(max_examples=30)
@given(st.lists(st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)), min_size=3, max_size=8))
def test_corners_are_written_to_the_last_bit(points: list[tuple[float, float]]) -> None:
    back = tomllib.loads(with_outline('[outline]\nbuild = "smallest"\n', points))["outline"]["points"]
    assert [tuple(point) for point in back] == points


def test_an_outline_goes_into_the_file_and_keeps_its_byte_order_mark_and_mode(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    text = '\ufeff[job]\r\ntitle = "ü" # a\r\n[board]\r\nthickness = 1\r\nedge = [[0, 0], [9, 0], [9, 9]]\r\n'
    job.write_bytes(text.encode())
    job.chmod(0o640)
    write_outline(tmp_path, shapely.box(1, 1, 5, 5))
    assert job.read_bytes().startswith(text.encode())
    assert job.stat().st_mode & 0o777 == 0o640
    written = load(job).outline
    assert written is not None
    assert shapely.equals(shapely.Polygon(written.points or ()), shapely.box(1, 1, 5, 5))
    assert names(tmp_path) == ["job.toml"]


# The starter ----------------------------------------------------------------------------------

FILLED = [
    "1.6",
    "[[0, 0], [100, 0], [100, 80], [0, 80]]",
    *("[10, 810]", "[1010, 810]", "[100, 0]", "[1010, 10]", "[100, 80]", "[10, 10]", "[0, 80]"),
    "[[900, 700], [1000, 700], [1000, 600]]",
]


def test_a_started_job_names_each_line_to_fill_in_and_loads_when_all_are_filled(tmp_path: Path) -> None:
    photo = tmp_path / "scan.png"
    photo.write_bytes(b"picture")
    job = start_folder(tmp_path / "my board", photo, (1020, 820))
    assert (job.parent / "scan.png").read_bytes() == b"picture"
    text = job.read_text()
    for value in FILLED:
        with pytest.raises(JobError, match=rf'found "{FILL_IN}"'):
            load(job)
        text = text.replace(f'= "{FILL_IN}"', f"= {value}", 1)
        job.write_text(text)
    read = load(job)
    assert read.job.title == "my board"
    assert read.view[0].image == "scan.png"
    assert (read.cutter, read.finish, read.outline) != (None, None, None)
    assert "0 at the left to 1019" in text
    assert "down to 819" in text


def tables(table: type[Table]) -> set[type[Table]]:
    found = {table}
    for field in table.model_fields.values():
        for each in vars(model).values():
            named = (
                isinstance(each, type) and issubclass(each, Table) and each.__name__ in repr(field.annotation)
            )
            if named and each not in found:
                found |= tables(each)
    return found


def test_the_started_job_explains_every_key_there_is() -> None:
    text = starter_job("t", "a.png", (10, 10))
    known = {
        field.alias or name
        for table in tables(model.Job)
        for name, field in table.model_fields.items()
        if not (table is model.Job and name in ("folder", "source", "variant"))
    }
    assert len(known) > 45
    assert [key for key in sorted(known) if not re.search(rf"\b{key}\b", text)] == []


@pytest.mark.parametrize("line", re.findall(r"(?m)^# (\w+ = [^\n]*)", starter_job("t", "a.png", (9, 9))))
def test_each_key_that_is_commented_out_is_toml_when_it_is_not(line: str) -> None:
    assert len(tomllib.loads(line)) == 1


@settings(max_examples=60)
@given(st.text(min_size=1, max_size=30), st.text(min_size=1, max_size=30))
def test_any_title_and_any_picture_name_make_a_job_or_a_sentence(title: str, name: str) -> None:
    try:
        text = starter_job(title, name, (10, 10))
    except JobError:
        assert not name.isprintable()
        return
    data = tomllib.loads(text.encode().decode())
    assert data["view"][0]["image"] == name


def test_starting_a_job_spoils_nothing_that_is_there(tmp_path: Path) -> None:
    photo = tmp_path / "scan.png"
    photo.write_bytes(b"picture")
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "scan.png").write_bytes(b"another")
    with pytest.raises(JobError, match="another file of that name"):
        start_folder(folder, photo, (10, 10))
    (folder / "scan.png").unlink()
    (folder / "job.toml").write_text("mine")
    with pytest.raises(JobError, match="a job there already"):
        start_folder(folder, photo, (10, 10))
    assert names(folder) == ["job.toml"]
    assert (folder / "job.toml").read_text() == "mine"
    with pytest.raises(JobError, match="cannot be read"):
        start_folder(tmp_path / "new", tmp_path / "missing.png", (10, 10))
    assert not (tmp_path / "new").exists()


# Files whole ------------------------------------------------------------------------------------


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "a.bin"
    atomic_write(file, b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(JobError, match="No space left on device"):
        atomic_write(file, b"new")
    monkeypatch.setattr(os, "fsync", lambda _: (_ for _ in ()).throw(KeyboardInterrupt))
    with pytest.raises(KeyboardInterrupt):
        atomic_write(file, b"new")
    assert file.read_bytes() == b"old"
    assert names(tmp_path) == ["a.bin"]


def test_a_link_stays_a_link_and_its_file_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to("real")
    atomic_write(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new"


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("missing/a.pdf", "its folder does not exist; make the folder first"),
        (".", "no plain file"),
        ("/dev/null", "no plain file"),
        ("a\0b", "cannot be written"),
        ("file/a.pdf", "its folder does not exist"),
        ("x" * 300, "cannot be written"),
    ],
)
def test_a_place_where_no_file_can_be_is_refused(tmp_path: Path, path: str, said: str) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(JobError, match=said):
        atomic_write(tmp_path / path, b"data")
    assert names(tmp_path) == ["file"]
    assert (tmp_path / "file").read_bytes() == b""


def test_folders_are_made_where_they_can_be(tmp_path: Path) -> None:
    make_folder(tmp_path / "a" / "b")
    make_folder(tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b").is_dir()
    (tmp_path / "file").write_bytes(b"")
    for bad in ("file", "file/below", "a\0b"):
        with pytest.raises(JobError, match="the folder cannot be made"):
            make_folder(tmp_path / bad)


def test_json_has_no_numbers_that_json_does_not_know() -> None:
    assert json_bytes({"ü": None}) == '{\n  "ü": null\n}\n'.encode()
    with pytest.raises(ValueError, match="JSON compliant"):
        json_bytes([float("nan")])
