"""Imports run one way, and what is light stays light."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import trimgeo

PACKAGE = Path(trimgeo.__file__).parent
BASE = {"errors", "tables", "plane", "version"}
MAY_IMPORT: dict[str, set[str]] = {
    "errors": set(),
    "tables": set(),
    "version": set(),
    "files": {"errors"},
    "plane": {"errors", "tables"},
    "model": BASE,
    "jobfile": BASE | {"model", "files"},
    "scale": BASE | {"model"},
    "vision": BASE | {"model"},
    "cutting": BASE | {"model"},
    "seen": BASE | {"model", "jobfile", "vision"},
    "choosing": BASE | {"model", "jobfile", "cutting"},
    "stages": BASE | {"model", "jobfile", "scale", "seen", "cutting", "choosing"},
    "drawing": BASE | {"model"},
    "report": BASE | {"model", "drawing", "files"},
    "cli": BASE
    | {"model", "jobfile", "scale", "choosing", "stages", "drawing", "report", "files"}
    | {"the library face"},
    "__main__": {"cli"},
}


def _part(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def _imported(path: Path) -> set[str]:
    """Parts of trimgeo that a module imports anywhere in it, also inside functions."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.level:
            pytest.fail(f"{path}: a relative import")
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "trimgeo":
            words = (node.module or "").split(".")
            found |= {words[1]} if len(words) > 1 else {alias.name for alias in node.names}
        if isinstance(node, ast.Import):
            found |= {a.name.split(".")[1] for a in node.names if a.name.startswith("trimgeo.")}
            found |= {"the library face" for a in node.names if a.name == "trimgeo"}
    return found


MODULES = sorted(p for p in PACKAGE.rglob("*.py") if p != PACKAGE / "__init__.py")


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_imports_only_what_lies_below_it(path: Path) -> None:
    part = _part(path)
    assert _imported(path) <= MAY_IMPORT[part] | {part}


@pytest.mark.parametrize("heavy", ["cv2", "reportlab", "ezdxf", "PIL"])
@pytest.mark.parametrize("part", ["plane", "model", "cutting"])
def test_geometry_knows_no_pictures_and_no_papers(part: str, heavy: str) -> None:
    for path in (PACKAGE / part).rglob("*.py"):
        words = {
            name.split(".")[0]
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            for name in (
                [a.name for a in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else []
            )
        }
        assert heavy not in words, path


def _modules_after(code: str) -> set[str]:
    script = (
        f"import sys\ntry:\n {code}\nexcept SystemExit: pass\nprint('\\n'.join(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(done.stderr.split())


def test_help_loads_neither_numpy_nor_pictures_nor_the_validator() -> None:
    loaded = _modules_after("from trimgeo.cli import main; main(['--help'])")
    assert "trimgeo.cli" in loaded
    assert not {"numpy", "cv2", "shapely", "pydantic", "ezdxf", "reportlab", "PIL", "jinja2"} & loaded


def test_checking_plain_geometry_loads_no_picture_library(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text(
        '[job]\ntitle = "t"\n[board]\nthickness = 1.6\nedge = [[0, 0], [50, 0], [50, 40], [0, 40]]\n'
        '[cutter]\nkind = "blade"\nkerf = 1\n[finish]\nsanding = 0.3\n'
        "[outline]\npoints = [[0, 0], [30, 0], [30, 40], [0, 40]]\n",
        encoding="utf-8",
    )
    loaded = _modules_after(f"from trimgeo.cli import main; main(['check', {str(job)!r}])")
    assert "trimgeo.stages" in loaded
    assert not {"cv2", "ezdxf", "reportlab", "svgelements"} & loaded
