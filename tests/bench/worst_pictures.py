"""The worst pictures of a board on its card: answered rightly, refused in a sentence, or confidently wrong?

    python tests/bench/worst_pictures.py [count] [--kind WORD] [--only-one] [--skip N] [--rows FILE]

Each kind of tests/scale/worst_scenes.py is tried on several of thirty scenes, ``count`` in all.
An answer is right where its largest error over the board that the picture shows is within its own bound.
Wrong and confident: outside its bound, and no warning names a cause.  Warnings that name none: a photo from
straight above, few corners, a part of the board shown.
"""

import argparse
import importlib.util
import json
import os
import re
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np

import trimgeo
from trimgeo.errors import JobError, TrimgeoError

TESTS = Path(__file__).parents[1]
SCENES = 30
NO_CAUSE = ("its focal length is known to", "corners can be used: leave more", "% of the board: unless")
OUTCOMES = (
    "right",
    "wrong, cause named",
    "wrong, told wrongly by the person",
    "CONFIDENT AND WRONG",
    "refused",
    "UNCLEAR",
    "TRACEBACK",
)


def loaded(path):
    """A module by path."""
    spec = importlib.util.spec_from_file_location(f"{path.stem}_by_path", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def job_text(case):
    """The job that a person would write about a case, as TOML."""
    bars = "" if case.bars is None else f", bars = {[float(b) for b in case.bars]}"
    origin, along = np.asarray(case.read, float).round(2).tolist()
    return (
        f'[job]\ntitle = "bench"\n[board]\nthickness = 1.6\nedge = {case.edge}\n'
        f'[[view]]\nname = "photo"\nimage = "{case.file}"\nshows = "top"\n'
        f'scale = {{ card = "{case.card}", height = {case.height}{bars} }}\n'
        f"place = {{ origin = {origin}, along = {along} }}\n"
    )


def judged(case, view):
    """Outcome, largest error and stated bound of an answer."""
    if case.pixels is None:
        return "CONFIDENT AND WRONG", float("inf"), view.uncertainty
    inside = ((case.pixels >= -0.5) & (case.pixels <= np.array(case.size) - 0.5)).all(axis=1)
    off = view.to_board.to_mm(case.pixels[inside]) - case.places[inside]
    largest = float(np.hypot(*off.T).max(initial=0.0))
    if largest <= view.uncertainty:
        return "right", largest, view.uncertainty
    named = [text for text in view.warnings if not any(part in text for part in NO_CAUSE)]
    if named:
        return "wrong, cause named", largest, view.uncertainty
    return (
        ("wrong, told wrongly by the person" if case.hidden else "CONFIDENT AND WRONG"),
        largest,
        view.uncertainty,
    )


def clear(fault):
    """Whether an error is one sentence of place, finding and fix that names the job's file."""
    text = str(fault)
    return isinstance(fault, JobError) and re.fullmatch(r".*job\.toml.*: .+; .+\.", text) and "\n" not in text


def tried(camera, name, kind, seed):
    """One row: what was made of one picture."""
    with tempfile.TemporaryDirectory() as folder:
        case = kind(camera, seed, Path(folder))
        (Path(folder) / "job.toml").write_text(job_text(case))
        row = {"kind": name, "seed": seed, "usable": case.usable, "hidden": case.hidden, "told": []}
        start = time.perf_counter()
        try:
            (view,) = trimgeo.prepare(trimgeo.load(Path(folder, "job.toml"))).views
            row["outcome"], row["largest"], row["bound"] = judged(case, view)
            row["told"] = list(view.warnings)
        except TrimgeoError as fault:
            row["outcome"] = "refused" if clear(fault) else "UNCLEAR"
            row["told"] = [re.sub(r"^.*job\.toml", "job.toml", str(fault))]
        except Exception:
            row["outcome"], row["told"] = "TRACEBACK", [traceback.format_exc(limit=-3)]
        row["seconds"] = time.perf_counter() - start
        return row


def chosen(kinds, count, word, only_one):
    """(kind, seed) pairs, the kinds in turn, their seeds spread over the scenes."""
    names = [name for name in kinds if word in name]
    if only_one:
        count = len(names)
    rounds = -(-count // max(len(names), 1))
    return [(name, (7 * n + 11 * r) % SCENES) for r in range(rounds) for n, name in enumerate(names)][:count]


def report(rows):
    """Print the counts by kind and the rows that matter; returns whether the aims are met."""
    for name in dict.fromkeys(row["kind"] for row in rows):
        of = [row for row in rows if row["kind"] == name]
        counts = Counter(row["outcome"] for row in of)
        told = ", ".join(f"{counts[o]} {o}" for o in OUTCOMES if counts[o])
        usable = "usable" if of[0]["usable"] else "      "
        print(f"{name:45} {usable} {told}")
    print()
    for row in rows:
        if row["outcome"] in ("CONFIDENT AND WRONG", "TRACEBACK", "UNCLEAR", "wrong, cause named"):
            figures = f"{row['largest']:.3f} > {row['bound']:.3f} mm" if "largest" in row else ""
            print(f"{row['outcome']}: {row['kind']}, seed {row['seed']} {figures} {row['told']}")
    missed = [row for row in rows if row["usable"] and row["outcome"] not in ("right", "wrong, cause named")]
    for row in missed:
        if row["outcome"] == "refused":
            print(f"usable, yet refused: {row['kind']}, seed {row['seed']} {row['told']}")
    usable = [row for row in rows if row["usable"]]
    answered = sum(row["outcome"] == "right" for row in usable)
    print(f"\n{len(rows)} pictures: ", dict(Counter(row["outcome"] for row in rows)))
    print(f"usable {len(usable)} ({100 * len(usable) / len(rows):.0f} %), of those right: {answered}")
    took = [row["seconds"] for row in rows]
    print(f"seconds a picture: median {np.median(took):.1f}, most {max(took):.1f}")
    bad = sum(row["outcome"] in ("CONFIDENT AND WRONG", "TRACEBACK", "UNCLEAR") for row in rows)
    return bad == 0 and answered >= 0.3 * len(rows)


def main(arguments=None):
    """Try, print; 1 where the aims are missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("count", nargs="?", type=int, default=400)
    parser.add_argument("--kind", default="")
    parser.add_argument("--only-one", action="store_true", help="one picture of each kind")
    parser.add_argument("--skip", type=int, default=0, help="so many pictures left out at the beginning")
    parser.add_argument("--rows", type=Path, help="a file to which each row is written as JSON")
    asked = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    camera = loaded(TESTS / "camera" / "camera.py")
    kinds = loaded(TESTS / "scale" / "worst_scenes.py").KINDS
    rows = []
    for name, seed in chosen(kinds, asked.count, asked.kind, asked.only_one)[asked.skip :]:
        rows.append(tried(camera, name, kinds[name], seed))
        if asked.rows:
            with asked.rows.open("a") as file:
                file.write(json.dumps(rows[-1]) + "\n")
    return int(not report(rows))


if __name__ == "__main__":
    sys.exit(main())
