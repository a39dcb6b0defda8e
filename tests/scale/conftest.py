"""Loads the made-up scenes by path: test folders are no packages."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def scenes():
    spec = importlib.util.spec_from_file_location("scenes", Path(__file__).with_name("scenes.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
