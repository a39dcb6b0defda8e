"""The version, below everything that says it."""

__version__ = "0.1.0"
