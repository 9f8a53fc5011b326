"""fieldctl: the program. Every command takes --site DIR and --json; errors say what, what was expected, what to do.

Exit codes: 0 done, 1 failed, 2 wrong use, 3 done in part, 4 nothing or nobody there, 5 refused, 7 out of time.
"""

from __future__ import annotations

import io
import os
import sys
from importlib.metadata import entry_points
from typing import Annotated, Any, NoReturn

import typer

from fieldctl import __version__
from fieldctl.cli import certify as certifying
from fieldctl.cli import show
from fieldctl.cli.alarm import alarm
from fieldctl.cli.alloff import all_off, generation
from fieldctl.cli.assessment import assessment
from fieldctl.cli.backup import backup
from fieldctl.cli.day import day, manual
from fieldctl.cli.debrief import debrief
from fieldctl.cli.drill import drill
from fieldctl.cli.exercise import exercise
from fieldctl.cli.field import doctor, serve, status
from fieldctl.cli.ledger import ledger
from fieldctl.cli.lines import bridge, broker, links
from fieldctl.cli.person import person
from fieldctl.cli.rights import phone, rights
from fieldctl.cli.season import season
from fieldctl.cli.site import site
from fieldctl.cli.target import target
from fieldctl.cli.upkeep import upkeep
from fieldctl.cli.walkin import walk_in
from fieldctl.errors import EXIT_FAILURE, BadInput, FieldctlError

PLUG_INS = "fieldctl.commands"
USAGE: type[Exception] = typer.BadParameter.__base__ or Exception  # typer brings its own click, and names no more

app = typer.Typer(
    name="fieldctl",
    help=(
        "Controls a practice field for avalanche companion rescue: buried targets, drills against the clock, honest "
        "times. A training aid, not rescue equipment. Any signal is a person until proved otherwise."
    ),
    epilog="First steps:  fieldctl demo   |   fieldctl site new DIR   |   fieldctl serve --site DIR",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        print(f"fieldctl {__version__}")
        raise typer.Exit


@app.callback()
def _program(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    pass


app.command("serve", epilog="Example:  fieldctl serve --site larch-hollow")(serve)
app.command("status", epilog="Example:  fieldctl status --watch")(status)
app.add_typer(day, name="day")
app.add_typer(manual, name="manual")
app.add_typer(exercise, name="exercise")
app.add_typer(walk_in, name="walk-in")
app.command("debrief", epilog="Example:  fieldctl debrief x12 --html x12.html")(debrief)
app.add_typer(all_off, name="all-off")
app.add_typer(generation, name="generation")
app.add_typer(alarm, name="alarm")
app.add_typer(target, name="target")
app.add_typer(drill, name="drill")
app.add_typer(site, name="site")
app.add_typer(rights, name="rights")
app.add_typer(phone, name="phone")
app.add_typer(ledger, name="ledger")
app.add_typer(assessment, name="assessment")
app.add_typer(person, name="person")
app.add_typer(upkeep, name="upkeep")
app.add_typer(backup, name="backup")
app.command("season", epilog="Example:  fieldctl season --since 2025-12-01 --html winter.html")(season)
app.command("links", epilog="Example:  fieldctl links")(links)
app.add_typer(broker, name="broker")
app.command(
    "bridge",
    epilog="Example:  fieldctl bridge --port /dev/ttyUSB0 --link broker --zone lower --password-file private/far",
)(bridge)
app.command("certify", epilog=certifying.EPILOG)(certifying.certify)
app.command("doctor", epilog="Example:  fieldctl doctor --site larch-hollow")(doctor)


def _add_plug_ins() -> None:
    """Commands from outside (`demo`, `sim`), unless the command that was asked for is one of ours."""
    ours = {command.name for command in app.registered_commands} | {group.name for group in app.registered_groups}
    if sys.argv[1:2] and sys.argv[1] in ours:
        return
    for point in entry_points(group=PLUG_INS):
        try:
            app.add_typer(point.load(), name=point.name)
        except Exception as error:  # a broken plug-in must not take the program with it
            show.say(f"The command {point.name!r} could not be loaded: {error}. To do: install fieldctl whole again.")


def main() -> None:
    """Run the program."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a terminal that knows no ± still shows the rest
    _add_plug_ins()
    try:
        try:
            code = app(standalone_mode=False)
        finally:
            sys.stdout.flush()
    except USAGE as error:
        _tell(_wrong_use(error), said=True)
    except (BrokenPipeError, typer.Abort):
        _drop_output()
        code = EXIT_FAILURE
    except Exception as error:
        if os.environ.get("FIELDCTL_TRACEBACK"):
            raise
        _tell(_in_words(error))
    raise SystemExit(code)


def _wrong_use(error: Any) -> BadInput:
    """Show how the command is used, as it does itself; and the same as one of our errors."""
    error.show()
    return BadInput(str(error.format_message()), remedy="Look at what the command takes: --help.")


def _in_words(error: Exception) -> FieldctlError:
    if isinstance(error, FieldctlError):
        return error
    if isinstance(error, OSError):
        about = f"{error.filename}: " if error.filename is not None else ""
        return FieldctlError(
            f"{about}{error.strerror or error}.", remedy="Look at that path, its owner and its mode, and try again."
        )
    return FieldctlError(
        f"A fault of fieldctl itself: {type(error).__name__}: {error}.",
        remedy="Try again; set FIELDCTL_TRACEBACK=1 to see where, and report that.",
    )


def _tell(error: FieldctlError, *, said: bool = False) -> NoReturn:
    from fieldctl.cli.outside import exit_code

    if not said:
        show.say(str(error))
    try:
        if "--json" in sys.argv:
            show.as_json({"error": error.as_json()})
        sys.stdout.flush()
    except OSError:
        _drop_output()
    raise SystemExit(exit_code(error))


def _drop_output() -> None:
    """Nobody takes what is still to be written: the end of the program must not fail on it."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    main()
