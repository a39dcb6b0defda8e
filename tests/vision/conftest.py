"""Loads what draws the boards by path: test folders are no packages."""

import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def boards():
    """`boards_seen`: true-scale pictures of boards whose outline and holes are known."""
    spec = importlib.util.spec_from_file_location("boards_seen", Path(__file__).with_name("boards_seen.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules["boards_seen"] = module
    spec.loader.exec_module(module)
    return module
