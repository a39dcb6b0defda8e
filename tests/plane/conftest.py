"""Loads what tests share by path: test folders are no packages."""

import importlib.util
from pathlib import Path

import pytest


def _load(name):
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def pairs():
    """`random_pairs`: boards and cavities drawn by chance."""
    return _load("random_pairs")


@pytest.fixture(scope="session")
def search():
    """`fine_search`: the judge of fits, by shapely alone."""
    return _load("fine_search")


@pytest.fixture(scope="session")
def rounding():
    """`judged_rounding`: what is wrong with an outline whose corners were put on a grid."""
    return _load("judged_rounding")


@pytest.fixture(scope="session")
def rasters():
    """`raster_necks`: the judge of necks, on a fine raster."""
    return _load("raster_necks")
