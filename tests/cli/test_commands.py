"""The commands as a person calls them: what they print, what they write, how they end."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

import trimgeo
from trimgeo.cli import COMMANDS

ROOT = Path(__file__).parent.parent.parent
GREENHOUSE, PLAIN = ROOT / "samples" / "greenhouse", ROOT / "samples" / "plain"

JOB = """
[job]
title = "Test"
[board]
thickness = 1.6
layers = 4
edge = [[0, 0], [80, 0], [80, 60], [0, 60]]
[[keepout]]
name = "T1"
kind = "trace"
layers = [2]
path = { points = [[10, 10], [30, 10]], width = 0.5 }
[cutter]
kind = "blade"
kerf = 1.0
[finish]
sanding = 0.3
[outline]
points = [[0, 0], [CUT, 0], [CUT, 60], [0, 60]]
"""


def call(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "trimgeo", *map(str, words)], capture_output=True, text=True, encoding="utf-8"
    )


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "job.toml"
    path.write_text(JOB.replace("CUT", "40"), encoding="utf-8")
    return path


def refused(done: subprocess.CompletedProcess[str], *words: str) -> None:
    """Exit status 2, nothing on stdout, one sentence on stderr that holds all the words."""
    assert (done.returncode, done.stdout) == (2, ""), done
    assert done.stderr.endswith("\n") and done.stderr.count("\n") == 1
    for word in words:
        assert word in done.stderr


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_a_worked_example(name: str) -> None:
    done = call(name, "--help")
    assert done.returncode == 0
    assert "Example:" in done.stdout and f"trimgeo {name}" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_version() -> None:
    assert call("--version").stdout.strip() == f"trimgeo, version {trimgeo.__version__}"


def test_a_call_without_a_command_is_one_sentence() -> None:
    refused(call(), "Missing command", "trimgeo --help")


def test_an_empty_name_is_not_the_folder_one_is_in(job: Path) -> None:
    refused(call("run", job, "--out", ""), "--out", "empty")
    refused(call("check", ""), "JOB", "empty")


def test_a_dxf_never_replaces_a_file_of_another_kind(job: Path) -> None:
    before = job.read_bytes()
    refused(call("dxf", job, "--out", job), "job.toml", ".dxf")
    assert job.read_bytes() == before


def test_a_reader_that_stops_early_does_not_turn_breached_into_done(job: Path) -> None:
    # More than a pipe holds (64 KiB on Linux), so that the writer notices.
    many = "".join(
        f'[[keepout]]\nname = "K{i}"\nkind = "component"\ncircle = {{ at = [45, 30], diameter = 4 }}\n'
        for i in range(400)
    )
    job.write_text(job.read_text(encoding="utf-8") + many, encoding="utf-8")
    with subprocess.Popen(
        [sys.executable, "-m", "trimgeo", "check", str(job), "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as running:
        assert running.stdout is not None and running.stderr is not None
        running.stdout.read(1)
        running.stdout.close()
        assert (running.stderr.read(), running.wait()) == (b"", 1)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_a_full_disk_is_no_fault_of_the_program(job: Path) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "trimgeo", "check", str(job)],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
        )
    assert done.returncode == 2 and done.stderr.count("\n") == 1


@pytest.mark.skipif(os.name != "posix", reason="a shell that can close a stream")
def test_a_closed_stderr_is_no_fault_of_the_program(job: Path, tmp_path: Path) -> None:
    call_it = f'"{sys.executable}" -m trimgeo run "{job}" --out "{tmp_path / "out"}" 2>&-'
    assert subprocess.run(["sh", "-c", call_it], stdout=subprocess.DEVNULL).returncode == 0
    assert (tmp_path / "out" / "report.json").exists()


def test_clear_ends_in_0_and_says_so_first(job: Path) -> None:
    done = call("check", job)
    assert done.returncode == 0
    assert done.stdout.splitlines()[1].startswith("UNKNOWN: copper layers 1, 3, 4")
    assert "CLEAR" in done.stdout and "9.75 mm" in done.stdout and "1 new edge, 60.0 mm" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_breached_ends_in_1(job: Path) -> None:
    job.write_text(JOB.replace("CUT", "30.3"), encoding="utf-8")
    done = call("check", job)
    assert done.returncode == 1 and "BREACHED" in done.stdout


def test_tight_ends_in_0(job: Path) -> None:
    job.write_text(JOB.replace("CUT", "30.8"), encoding="utf-8")
    done = call("check", job)
    assert done.returncode == 0 and "TIGHT" in done.stdout


def test_json_is_the_report_and_alone_on_stdout(job: Path) -> None:
    report = json.loads(call("check", job, "--json").stdout)
    assert report == json.loads(json.dumps(trimgeo.plan(trimgeo.prepare(trimgeo.load(job))).report()))
    assert report["clearance"]["inner_copper_minimum"]["nominal_mm"] == pytest.approx(9.75, abs=1e-9)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["check"], ["JOB", "--help"]),
        (["chekc", "x"], ["chekc"]),
        (["check", "nowhere"], ["nowhere"]),
        (["check", "JOB", "--frobnicate"], ["--frobnicate"]),
        (["outline", "JOB", "--cuts", "x"], ["--cuts"]),
        (["template", "JOB", "--out", "sheet.doc"], ["sheet.doc", ".pdf"]),
        (["template", "JOB", "--out", "missing/sheet.pdf"], ["missing"]),
        (["dxf", "JOB", "--out", "missing/a.dxf"], ["missing"]),
        (["check", "JOB", "--variant", "red"], ["no variants", "--variant"]),
        (["check", "JOB", "--outline", "none.dxf"], ["none.dxf"]),
        (["rectify", "JOB", "--out", "r"], ["view"]),
        (["new", "fresh", "--photo", "none.png"], ["none.png"]),
    ],
)
def test_a_faulty_call_ends_in_2_with_one_sentence(
    words: list[str], expected: list[str], job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(job.parent)
    before = sorted(job.parent.iterdir())
    refused(call(*(str(job) if w == "JOB" else w for w in words)), *expected)
    assert sorted(job.parent.iterdir()) == before


def test_a_fault_of_the_program_ends_in_3_and_not_as_breached(job: Path, tmp_path: Path) -> None:
    broken = "import trimgeo.stages as s\ndef plan(board): raise ZeroDivisionError\ns.plan = plan\n"
    script = broken + f"from trimgeo.cli import main\nmain(['check', {str(job)!r}"
    done = subprocess.run([sys.executable, "-c", script + "])"], capture_output=True, text=True)
    assert done.returncode == 3 and done.stdout == ""
    assert done.stderr.count("\n") == 1 and "report it" in done.stderr
    done = subprocess.run(
        [sys.executable, "-c", script + ", '--traceback'])"], capture_output=True, text=True
    )
    assert done.returncode == 3 and "Traceback" in done.stderr


def test_new_starts_a_folder_whose_job_names_what_to_fill_in(tmp_path: Path) -> None:
    done = call("new", tmp_path / "mine", "--photo", GREENHOUSE / "scan-top.png")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "mine" / "job.toml").is_file() and (tmp_path / "mine" / "scan-top.png").is_file()
    refused(call("new", tmp_path / "mine", "--photo", GREENHOUSE / "scan-top.png"), "job.toml")


def test_new_says_what_to_type_next_as_a_shell_takes_it(tmp_path: Path) -> None:
    done = call("new", tmp_path / "my board", "--photo", GREENHOUSE / "scan-top.png")
    assert shlex.split(done.stdout.splitlines()[-1].split("then: ")[1]) == [
        "trimgeo",
        "check",
        str(tmp_path / "my board"),
    ]


def test_the_trade_says_which_outline_is_chosen_and_how_to_take_another(job: Path) -> None:
    lines = call("outline", job).stdout.splitlines()
    assert sum(line.startswith("-> ") and line.split()[1].isdigit() for line in lines) == 1
    assert any("--cuts N" in line and "--write" in line for line in lines)
    assert max(map(len, lines)) <= 80


def test_outline_write_puts_points_into_the_job_and_loses_no_comment(job: Path) -> None:
    text = JOB.replace("points = [[0, 0], [CUT, 0], [CUT, 60], [0, 60]]", 'build = "smallest" # mine')
    job.write_text("# kept\n" + text, encoding="utf-8")
    done = call("outline", job, "--cuts", "2", "--write")
    assert done.returncode == 0, done.stderr
    after = job.read_text(encoding="utf-8")
    assert after.startswith("# kept\n") and "points" in after and "build" not in after
    checked = call("check", job, "--json")
    assert checked.returncode == 0
    assert len(json.loads(checked.stdout)["outline"]["cuts"]) <= 2


def test_outline_shows_the_trade_and_more_cuts_never_give_more_area() -> None:
    found = json.loads(call("outline", GREENHOUSE, "--variant", "display", "--json").stdout)
    areas = [choice["area_mm2"] for choice in found["choices"]]
    assert areas == sorted(areas, reverse=True)
    assert found["fewest"] == found["choices"][0]["cuts"]


def test_no_outline_ends_in_1_and_says_why(job: Path) -> None:
    text = JOB[: JOB.index("[[keepout]]")] + JOB[JOB.index("[cutter]") : JOB.index("points = [[0, 0], [CUT")]
    job.write_text(text + 'build = "smallest"\n', encoding="utf-8")
    done = call("run", job, "--out", job.parent / "out")
    assert done.returncode == 1 and done.stdout == "" and done.stderr.count("\n") == 1
    assert not (job.parent / "out").exists()


def test_check_judges_an_outline_that_was_drawn_elsewhere(job: Path, tmp_path: Path) -> None:
    drawn = tmp_path / "drawn.svg"
    drawn.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">'
        '<rect x="0" y="0" width="30.3" height="60"/></svg>',
        encoding="utf-8",
    )
    # Judging it needs no outline in the job.
    job.write_text(job.read_text(encoding="utf-8").partition("[outline]")[0], encoding="utf-8")
    refused(call("check", job), "[outline]")
    done = call("check", job, "--outline", drawn, "--json")
    assert done.returncode == 1, done.stderr
    assert json.loads(done.stdout)["clearance"]["minimum"]["nominal_mm"] == pytest.approx(0.05, abs=1e-9)


@pytest.mark.parametrize("release", ["R2018", "R12"])
def test_dxf_is_written_in_both_releases(job: Path, tmp_path: Path, release: str) -> None:
    assert call("dxf", job, "--out", tmp_path / "o.dxf", "--release", release).returncode == 0
    assert (tmp_path / "o.dxf").read_bytes().startswith(b"  0\n") or (
        tmp_path / "o.dxf"
    ).stat().st_size > 1000


def test_template_svg_is_one_file_a_sheet(job: Path, tmp_path: Path) -> None:
    assert call("template", job, "--out", tmp_path / "t.svg", "--paper", "A3").returncode == 0
    assert {"t-top.svg", "t-bottom.svg"} <= {p.name for p in tmp_path.iterdir()}


def test_rectify_writes_the_views_and_says_where_the_origin_is(tmp_path: Path) -> None:
    done = call(
        "rectify", GREENHOUSE, "--variant", "bare", "--view", "scan-top", "--out", tmp_path / "r", "--json"
    )
    assert done.returncode == 0, done.stderr
    (view,) = json.loads(done.stdout)
    assert view["image"] == "scan-top.png" and (tmp_path / "r" / "scan-top.png").is_file()
    assert len(view["origin"]) == 2


def test_the_plain_sample_runs_without_any_picture(tmp_path: Path) -> None:
    done = call("run", PLAIN, "--out", tmp_path / "out", "--json")
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert report["views"] == [] and report == json.loads(
        (tmp_path / "out" / "report.json").read_text("utf-8")
    )


def test_a_job_with_variants_is_refused_without_one() -> None:
    refused(call("check", GREENHOUSE), "display", "bare", "--variant")


def test_shell_completion_offers_the_commands() -> None:
    import os

    done = subprocess.run(
        [sys.executable, "-c", "from trimgeo.cli import main; main()"],
        env=os.environ
        | {"_TRIMGEO_COMPLETE": "bash_complete", "COMP_WORDS": "trimgeo re", "COMP_CWORD": "1"},
        capture_output=True,
        text=True,
    )
    assert "rectify" in done.stdout


def test_a_job_without_keepouts_is_not_called_clear(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(
        JOB[: JOB.index("[[keepout]]")] + JOB[JOB.index("[cutter]") :].replace("CUT", "40"), encoding="utf-8"
    )
    done = call("check", tmp_path)
    assert done.returncode == 0 and "NOT COMPARED" in done.stdout and "CLEAR" not in done.stdout
