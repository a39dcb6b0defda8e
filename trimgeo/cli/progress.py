"""A progress bar on stderr for work that takes more than half a second."""

from __future__ import annotations

import sys
import time
from types import TracebackType

import click

PATIENCE = 0.5
"""Seconds before a bar appears: shorter work needs none."""


class Progress:
    """Steps of a known number; the bar shows on a terminal only, and only after half a second."""

    def __init__(self, steps: int) -> None:
        self._steps, self._done = steps, 0
        self._began = time.monotonic()
        self._bar: click.progressbar[int] | None = None  # type: ignore[valid-type]

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is None:
            return
        if kind is None:
            self._bar.label = "done"
            self._bar.update(self._steps - self._bar.pos)
        self._bar.render_finish()

    def step(self, label: str) -> None:
        """Say what is being done now; one step more is behind us."""
        if sys.stderr is None or not sys.stderr.isatty():  # None: the caller has closed it
            return
        if self._bar is None and time.monotonic() - self._began > PATIENCE:
            self._bar = click.progressbar(length=self._steps, label=label, file=sys.stderr)
            self._bar.update(self._done)
        elif self._bar is not None:
            self._bar.label = label
            self._bar.update(1)
        self._done += 1
