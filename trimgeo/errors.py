"""The errors that people see: what was found, where, and what to do about it."""

from __future__ import annotations


class TrimgeoError(Exception):
    """Anything that ends a command with one sentence instead of an answer.

    ``status`` is the exit status of the command: 2 for what is at fault, 1 for what is impossible.

    >>> JobError.status, NoOutlineError.status
    (2, 1)
    """

    status = 2


class JobError(TrimgeoError):
    """The job, a file it names, or the call is at fault; the sentence names place, finding and fix.

    >>> str(JobError("job.toml, [cutter], kerf", "found -1", "give the width of the cut in mm, such as 1.0"))
    'job.toml, [cutter], kerf: found -1; give the width of the cut in mm, such as 1.0.'
    """

    def __init__(self, place: str, found: str, fix: str) -> None:
        self.place, self.found, self.fix = place, found, fix
        super().__init__(" ".join(f"{place}: {found}; {fix}.".split()))


class NothingThereError(JobError):
    """A drawing that is sound has nothing on the layer that was named, or no such layer."""


class NoOutlineError(TrimgeoError):
    """The input is sound, but no outline meets it: names the keep-out or the edge in the way.

    ``meet`` are the point of the keep-out and the point of the wall between which it lacks room, mm in the
    board frame, where the sentence is about such a pair; ``lacks`` is by how much, mm.  ``keepouts`` are the
    names of those that it is about, none where it may be any.

    >>> NoOutlineError("no outline can be built", ((3.0, 0.0), (2.5, 0.0)), 0.5).lacks
    0.5
    """

    status = 1

    def __init__(
        self,
        sentence: str,
        meet: tuple[tuple[float, float], tuple[float, float]] | None = None,
        lacks: float | None = None,
        keepouts: tuple[str, ...] = (),
    ) -> None:
        self.meet, self.lacks, self.keepouts = meet, lacks, keepouts
        super().__init__(sentence)


def printable(text: str) -> str:
    r"""A text with everything that a terminal or an SVG cannot show replaced by a sign.

    >>> printable("a\x00b")
    'a\ufffdb'
    """
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def quoted(text: str) -> str:
    r"""A name for a message: in double quotes, as it is written, with a sign for what cannot be shown.

    >>> print(quoted("C:\\boards\\it's.png"))
    "C:\boards\it's.png"
    >>> quoted("front\n.png")
    '"front\ufffd.png"'
    """
    return f'"{printable(text)}"'
