"""A progress bar on stderr for work that takes more than half a second."""

from __future__ import annotations

import sys
from pathlib import Path
from threading import Lock, Timer
from types import TracebackType
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from trimgeo.model.board import Board

PATIENCE = 0.5
"""Seconds before a bar appears: shorter work needs none."""


class Progress:
    """Steps of a known number; the bar shows on a terminal only, and only after half a second.

    A timer shows it, so that one long step is seen as well.
    """

    def __init__(self, steps: int) -> None:
        self._steps, self._begun, self._label = steps, 0, ""
        self._bar: click.progressbar[int] | None = None  # type: ignore[valid-type]
        self._lock = Lock()
        self._timer = Timer(PATIENCE, self._appear)
        self._timer.daemon = True

    def __enter__(self) -> Progress:
        if sys.stderr is not None and sys.stderr.isatty():  # None: the caller has closed it
            self._timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._timer.cancel()
        with self._lock:
            if self._bar is None:
                return
            if kind is None:
                self._bar.label = "done"
                self._bar.update(self._steps - self._bar.pos)
            self._bar.render_finish()

    def step(self, label: str) -> None:
        """Say what is being done now; the step before is behind us."""
        with self._lock:
            self._begun += 1
            self._label = label
            if self._bar is not None:
                self._bar.label = label
                self._bar.update(1)

    def _appear(self) -> None:
        with self._lock:
            self._bar = click.progressbar(length=self._steps, label=self._label, file=sys.stderr)
            self._bar.update(max(self._begun - 1, 0))


def prepared(progress: Progress, job: Path, variant: str | None) -> Board:
    """The board of a job, in two steps that a person is told of."""
    import trimgeo

    progress.step("reading the job")
    read = trimgeo.load(job, variant=variant)
    progress.step("finding the scale")
    return trimgeo.prepare(read)
