"""The command line: one file a command, each a thin face on the library.

Nothing heavy is imported here, so that ``--help`` and shell completion answer at once.
"""

from __future__ import annotations

import sys
import traceback
from importlib import import_module
from typing import Any, NoReturn

import click

from trimgeo.errors import TrimgeoError
from trimgeo.version import __version__

COMMANDS = {
    "new": "Start a job folder from a photo or scan.",
    "card": "Print the reference card to photograph a board on.",
    "rectify": "Write the pictures at true scale.",
    "suggest": "Propose keep-outs from a photo.",
    "outline": "Build an outline; show the trade of cuts against size.",
    "check": "Clearances of an outline to all that must live.",
    "template": "Print the 1:1 sheets to tape onto the board.",
    "dxf": "Write the outline for enclosure design.",
    "run": "Everything: sheets, DXF, overlays and the report.",
}
"""Command names with the line that ``trimgeo --help`` shows, in the order of the work."""


class Lazy(click.Group):
    """A group whose commands are imported when they are called, not when they are listed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name, imported now."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"trimgeo.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list of commands, without importing one of them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


EPILOG = """\b
Example, a board to check and then all files for it:
  trimgeo check samples/greenhouse --variant display
  trimgeo run samples/greenhouse --variant display --out out

\b
Shell completion, for bash (zsh and fish alike):
  eval "$(_TRIMGEO_COMPLETE=bash_source trimgeo)"

Cutting glass-fibre board makes dust that harms lungs and eyes; lithium cells and
mains parts can hurt. Local codes and licensed practice come first.
"""


@click.group(
    cls=Lazy, epilog=EPILOG, no_args_is_help=False, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(__version__, prog_name="trimgeo")
def cli() -> None:
    """Trim outlines for circuit boards that are cut down by hand.

    From photos or scans with true scale: the line to cut, how near it comes to
    buried copper, a 1:1 template to tape on, a DXF for the enclosure.
    """


def main(arguments: list[str] | None = None) -> NoReturn:
    """Run the command line and exit: 0 done, 1 breached, 2 input at fault, 3 our fault."""
    words = sys.argv[1:] if arguments is None else arguments
    for stream in (sys.stdout, sys.stderr):
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    sys.exit(_status(words))


def _status(words: list[str]) -> int:
    try:
        answer = cli.main(args=words, prog_name="trimgeo", standalone_mode=False)
        return answer if isinstance(answer, int) else 0
    except TrimgeoError as error:
        return _say(str(error), error.status)
    except click.ClickException as error:
        return _say(_usage(error), 2)
    except (click.Abort, KeyboardInterrupt):
        return _say("Stopped; nothing was left half written.", 130)
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except Exception as error:
        if "--traceback" in words:
            # Not re-raised: an uncaught exception exits 1, which means "breached".
            traceback.print_exception(error)
        return _say(
            f"This is a fault of trimgeo, not yours ({type(error).__name__}): please report it with the "
            "job file and the output of the same command with --traceback.",
            3,
        )


def _usage(error: click.ClickException) -> str:
    """A call's fault as one sentence that ends in the way to help."""
    context = getattr(error, "ctx", None)
    path = context.command_path if context is not None else "trimgeo"
    return " ".join(f"{error.format_message().rstrip('.')}; see {path} --help.".split())


def _say(sentence: str, status: int) -> int:
    click.echo(sentence, err=True)
    return status
