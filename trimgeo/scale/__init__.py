"""Where millimetres come from: maps from pixels to the board, their uncertainty, true-scale pictures."""

from trimgeo.scale.views import read_views

__all__ = ["read_views"]
