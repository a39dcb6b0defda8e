"""Where millimetres come from: maps from pixels to the board, their uncertainty, true-scale pictures."""

from __future__ import annotations

from pathlib import Path

from trimgeo.scale.source import open_source
from trimgeo.scale.views import Seeing, read_views, views_and_edge

__all__ = ["Seeing", "picture_size", "read_views", "views_and_edge"]


def picture_size(path: Path, place: str) -> tuple[int, int]:
    """(columns, rows) of a picture as a viewer shows it, after its EXIF orientation.

    Raises `trimgeo.JobError` at ``place`` for a file that is missing, damaged or no picture.
    """
    return open_source(path, place, path.name).size
