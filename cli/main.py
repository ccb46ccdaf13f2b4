"""The command ``gullywalk``: finds the commands, and turns every failure into one clear line."""

from __future__ import annotations

import importlib
import importlib.metadata
import os
import signal
import sys
import traceback
import warnings
from collections.abc import Sequence
from types import FrameType
from typing import NoReturn

import click

from cli.progress_bar import Talk
from cli.remedies import error_text
from terrain.values.errors import GullywalkError
from terrain.values.reading_remedies import ReadingRemedy

#: Commands in the order the help lists them: module and name of the command in it.
_COMMANDS = {
    "screen": ("cli.commands.screen", "screen"),
    "inspect": ("cli.commands.inspect", "inspect"),
    "flood": ("cli.commands.flood", "flood"),
    "explain": ("cli.commands.explain", "explain"),
    "page": ("cli.commands.page", "page"),
    "packet": ("cli.commands.packet", "packet"),
    "waypoints": ("cli.commands.waypoints", "waypoints"),
    "revise": ("cli.commands.revise", "revise"),
    "step": ("cli.commands.step", "step"),
}
DONE, COULD_NOT, USAGE, STOPPED = 0, 1, 2, 130


class StoppedError(Exception):
    """The person pressed Ctrl-C, or the system asked the run to end."""


class Commands(click.Group):
    """Commands that are only imported when they are used, so that the help comes at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of all commands."""
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in _COMMANDS:
            return None
        module, name = _COMMANDS[cmd_name]
        command: click.Command = getattr(importlib.import_module(module), name)
        return command

    def invoke(self, ctx: click.Context) -> object:
        """Run a command; Ctrl-C is told apart from other ends."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            raise StoppedError from None


def _version() -> str:
    try:
        return importlib.metadata.version("gullywalk")
    except importlib.metadata.PackageNotFoundError:
        return "not installed"


@click.command(
    cls=Commands,
    context_settings={"max_content_width": 100, "help_option_names": ["-h", "--help"]},
    epilog="Results go to stdout, remarks to stderr. Ends with 0 when done, 1 when it could not, "
    "2 when it was asked in a wrong way.",
)
@click.version_option(_version(), prog_name="gullywalk", message="%(prog)s %(version)s")
def gullywalk() -> None:
    r"""Find where low rock and log structures would heal eroding channels.

    Reads an elevation raster, walks every channel on it, and says where a small hand-built
    structure is worth building, how big the floods are there, and which place comes first.

    \b
    Start with:
      gullywalk inspect DEM.tif
      gullywalk screen DEM.tif --boundary RANCH.geojson --out plan.gpkg
    """


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command and return its exit code.

    Parameters
    ----------
    arguments
        What stands behind ``gullywalk`` on the command line; by default that of this process.

    Returns
    -------
    int
        0 done, 1 could not, 2 asked in a wrong way, 130 stopped by Ctrl-C.
    """
    talk = Talk()
    try:
        given = None if arguments is None else list(arguments)
        code = gullywalk.main(given, prog_name="gullywalk", standalone_mode=False, obj=talk)
        sys.stdout.flush()
        return code if isinstance(code, int) else DONE
    except click.exceptions.NoArgsIsHelpError as error:
        print(error.format_message())
        return USAGE
    except click.UsageError as error:
        return _fail(_usage_line(error), USAGE)
    except click.ClickException as error:
        return _fail(error.format_message(), COULD_NOT)
    except (StoppedError, KeyboardInterrupt, click.Abort):
        return _fail("stopped; old output files are as they were.", STOPPED)
    except BrokenPipeError:
        # Whoever read our output has gone; Python must not complain again when it closes it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return COULD_NOT
    except Exception as error:
        return _fail(_line_of(error, talk), COULD_NOT)


def _fail(line: str, code: int) -> int:
    print("gullywalk: " + " ".join(line.split()), file=sys.stderr)
    return code


def _usage_line(error: click.UsageError) -> str:
    text = error.format_message().strip().rstrip(".")
    path = error.ctx.command_path if error.ctx is not None else "gullywalk"
    end = "" if text.endswith("?") else "."
    return f"{text[0].lower()}{text[1:]}{end} See '{path} --help'."


def _line_of(error: Exception, talk: Talk) -> str:
    """Say what went wrong; a failure that nobody foresaw says how to learn more."""
    if talk.verbosity >= 1:
        traceback.print_exception(error)
    if isinstance(error, GullywalkError):
        return error_text(error)
    if isinstance(error, MemoryError):
        return error_text(
            GullywalkError("the machine ran out of memory", do=ReadingRemedy.COARSER_OR_PART)
        )
    more = "" if talk.verbosity >= 1 else " Run it again with -v to see where, and report it."
    return f"an unexpected fault ({type(error).__name__}: {error}).{more}"


def _end_politely(number: int, frame: FrameType | None) -> NoReturn:
    """Take the system's request to end as Ctrl-C, so that unfinished files are taken away."""
    raise KeyboardInterrupt


def main() -> NoReturn:
    """Run the command for this process."""
    if hasattr(signal, "SIGTERM"):
        signal.signal(signal.SIGTERM, _end_politely)
    if not sys.warnoptions:
        # What a person should know comes as a remark of ours, not as a library's warning.
        warnings.simplefilter("ignore")
    sys.exit(run())
