"""``python -m trimgeo``."""

from trimgeo.cli import main

main()
