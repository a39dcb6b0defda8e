"""The package as it is installed: doctests, data files, version, types."""

from __future__ import annotations

import doctest
import pkgutil
import subprocess
import sys
from importlib import import_module, metadata
from pathlib import Path

import pytest

import trimgeo

ROOT = Path(__file__).parent.parent
NAMES = sorted(
    m.name for m in pkgutil.walk_packages(trimgeo.__path__, "trimgeo.") if "__main__" not in m.name
)


@pytest.mark.parametrize("name", NAMES)
def test_examples_in_docstrings_hold(name: str) -> None:
    outcome = doctest.testmod(
        import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
    )
    assert outcome.failed == 0


def test_there_are_many_examples_in_docstrings() -> None:
    finder = doctest.DocTestFinder(exclude_empty=True)
    found = sum(len(t.examples) > 0 for n in NAMES for t in finder.find(import_module(n)))
    assert found >= 40


def test_the_version_is_that_of_the_distribution() -> None:
    assert trimgeo.__version__ == metadata.version("trimgeo")


@pytest.mark.parametrize(
    "data",
    ["py.typed", "drawing/fonts/DejaVuSans.ttf", "drawing/fonts/LICENSE.txt", "report/templates/report.html"],
)
def test_data_files_are_installed(data: str) -> None:
    assert (Path(trimgeo.__file__).parent / data).is_file()


@pytest.mark.parametrize(
    "words", [["-m", "ruff", "check", "."], ["-m", "ruff", "format", "--check", "."], ["-m", "mypy"]]
)
def test_the_source_is_clean_by_linter_and_type_checker(words: list[str]) -> None:
    done = subprocess.run([sys.executable, *words], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def test_top_level_holds_what_was_agreed_and_nothing_else() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "trimgeo", "tests", "samples", "LICENSE"}
    listed = subprocess.run(
        ["git", "ls-tree", "--name-only", "HEAD"], cwd=ROOT, capture_output=True, text=True
    )
    if listed.returncode != 0:
        pytest.skip("not a git checkout: the top level cannot be listed")
    assert {n for n in listed.stdout.split() if not n.startswith(".")} == agreed
