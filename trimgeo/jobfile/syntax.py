"""A job file that is no TOML: the line as it stands, and what would mend it."""

from __future__ import annotations

import re
from typing import Final

from trimgeo.errors import JobError
from trimgeo.jobfile.words import short

_FIXES: Final = (
    (
        "cannot (declare|overwrite|mutate)",
        "",
        "give each key and each [table] once, and [[keepout]] double brackets",
    ),
    ("", r"[\u201c-\u201f\u2018\u2019]", 'use straight quotes, "like these"'),
    ("", r'"[^"]*\\', "write paths with / in place of \\"),
    ("", r"=\s*[+-]?\d+,\d", "write decimal numbers with a point, such as 1.6"),
    ("", r"=\s*[+-]?\.\d|\d\.(?!\d)", "write digits on both sides of the point, such as 0.5"),
    ("", r"=\s*[+-]?[\d.]+\s*[A-Za-z\"'\u00b5]", "give the number alone, in mm (an inch is 25.4)"),
    ("", r'^[^"]*"[^"]*$', 'close the text with a second "'),
    ("", r"=\s*(?!true\b|false\b|inf\b|nan\b)[A-Za-z_]", 'put texts in "quotes"'),
)
"""Mistakes that people make: the library's message, the line, the fix; the first that fits both is said."""

_ELSE: Final = 'write keys as key = value, texts in "quotes", and close each [ and {'


_AROUND = 25
"""Characters of the line shown before the fault."""


def syntax_error(message: str, text: str, source: str) -> JobError:
    r"""The error for a text that is no TOML, from the library's message about it.

    >>> error = syntax_error("Expected newline (at line 2, column 6)", "[board]\nkerf = 1,6", "job.toml")
    >>> print(str(error)[:79], str(error)[79:], sep="\n")
    job.toml, line 2, column 6: found 'kerf = 1,6', which is no valid TOML (expecte
    d newline); write decimal numbers with a point, such as 1.6.
    """
    parts = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", message, re.DOTALL)
    reason, number, column = parts.groups() if parts else (message, None, None)
    reason = short(reason[:1].lower() + reason[1:])
    if number is None or column is None:
        return JobError(f"{source}, at its end", f"found no valid TOML ({reason})", _ELSE)
    line = text.split("\n")[int(number) - 1].rstrip()
    start = max(0, int(column) - _AROUND)
    seen = short(("\N{HORIZONTAL ELLIPSIS}" if start else "") + line[start:].strip())
    found = (
        f"found '{seen}', which is no valid TOML ({reason})" if line else f"found no valid TOML ({reason})"
    )
    return JobError(f"{source}, line {number}, column {column}", found, _fix(reason, line))


def _fix(reason: str, line: str) -> str:
    """What would mend the line, notes behind it left aside."""
    code = re.sub(r"\s+#.*", "", line)
    return next(
        (fix for said, looks, fix in _FIXES if re.search(said, reason) and re.search(looks, code)), _ELSE
    )
