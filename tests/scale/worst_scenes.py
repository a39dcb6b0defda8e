"""The worst pictures of a board on its card, by kind; load it by path, it needs nothing but this folder."""

import sys
from pathlib import Path

_HERE = str(Path(__file__).parent)
if _HERE not in sys.path:
    sys.path.insert(0, _HERE)

import worst_cards  # noqa: E402
import worst_files  # noqa: E402
import worst_light  # noqa: E402
from worst_made import KINDS, Case  # noqa: E402

__all__ = ["KINDS", "Case", "worst_cards", "worst_files", "worst_light"]
