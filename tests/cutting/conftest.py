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
def judged():
    """`judged_clearances.differences`: what the package and the brute force disagree on."""
    return _load("judged_clearances").differences


@pytest.fixture(scope="session")
def shapes():
    """`random_shapes`: boards and outlines drawn by chance."""
    return _load("random_shapes")


@pytest.fixture(scope="session")
def solids():
    """`swept_solids`: what wheels and bits take, point by point."""
    return _load("swept_solids")
