"""Draw the pictures of the greenhouse sample: nothing in them was ever photographed.

    python samples/draw_greenhouse.py [--out DIR]

The same pictures come out on every machine, pixel for pixel; the files are the same bytes wherever
zlib is the usual one.  `truth` gives tests the exact geometry in millimetres.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))  # so that `drawn` is found however this file is loaded

from drawn import board  # noqa: E402
from drawn.faces import face  # noqa: E402
from drawn.finish import Bytes, levels, noisy, png, unsharp  # noqa: E402
from drawn.layers import layer  # noqa: E402
from drawn.pictures import PICTURES, PictureTruth  # noqa: E402


@dataclass(frozen=True)
class Truth:
    """All that the pictures were drawn from, in millimetres in the board frame."""

    edge: tuple[board.XY, ...]
    thickness: float
    depths: tuple[float, ...]
    parts: tuple[board.Part, ...]
    traces: tuple[board.Trace, ...]
    vias: tuple[board.Via, ...]
    holes: tuple[board.Hole, ...]
    planes: tuple[board.Plane, ...]
    test_pads: tuple[board.TestPad, ...]
    pictures: tuple[PictureTruth, ...]


def truth() -> Truth:
    """The exact geometry of the sample."""
    return Truth(
        edge=board.EDGE,
        thickness=board.THICKNESS,
        depths=board.DEPTHS,
        parts=board.PARTS,
        traces=board.TRACES,
        vias=board.VIAS,
        holes=board.HOLES,
        planes=board.PLANES,
        test_pads=board.TEST_PADS,
        pictures=PICTURES,
    )


def picture(which: PictureTruth) -> Bytes:
    """The pixels of a picture: shape (rows, columns, 3) for a scan, (rows, columns, 1) for a layer."""
    seed = 1 + PICTURES.index(which)
    if isinstance(which.shows, int):
        clean = layer(which.shows, which.matrix, which.size).pixels[..., :1]
        return levels(noisy(unsharp(clean, 2), grain=2.2, tint=0.0, seed=seed))
    clean = face(which.shows, which.matrix, which.size).pixels
    return levels(noisy(unsharp(clean, 1), grain=1.0, tint=0.3, seed=seed))


def main() -> None:
    """Draw every picture into a folder."""
    parser = argparse.ArgumentParser(description="Draw the pictures of the greenhouse sample.")
    parser.add_argument("--out", type=Path, default=HERE / "greenhouse", help="folder to draw into")
    out: Path = parser.parse_args().out
    out.mkdir(parents=True, exist_ok=True)
    for which in PICTURES:
        (out / which.file).write_bytes(png(picture(which), which.dpi))
        print(f"drew {which.file}")


if __name__ == "__main__":
    main()
