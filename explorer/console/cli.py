"""The command line: thin, and quick to answer; everything heavy is imported when it is needed.

Exit status: as ``EXIT_STATUS`` says; besides, 3 a fault of the program, 141 nobody reads its output any more.
"""

from __future__ import annotations

import os
import sys
from typing import Annotated, NoReturn

import typer

from explorer.console.cli_design import compare, explore
from explorer.console.cli_desk import desk
from explorer.console.cli_fitting import fit, validate
from explorer.console.cli_inputs import inputs
from explorer.console.cli_run import report, run, schema
from explorer.console.cli_study import check, explain, new, screen
from explorer.console.options import DONE, EXIT_STATUS, FAULT, INTERRUPTED, UNREAD, WRONG_INPUT
from explorer.console.plain_output import write_plainly
from explorer.console.room import require_room
from explorer.console.telling import complain, say
from explorer.errors import SquatlineError

# In the order in which they are needed.
COMMANDS = (new, desk, check, inputs, screen, run, compare, explore, fit, validate, report, schema, explain)

app = typer.Typer(
    name="squatline",
    help="Explore the design of a fast model car with a movable rear wing: what it will do, how sure that "
    "is, and what to measure first. A pass is a prediction, never a clearance to run.",
    epilog=EXIT_STATUS,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

GREETING = """squatline: what a fast model car with a movable rear wing will do, how sure
that is, and what to measure first. A pass is a prediction, never a clearance
to run. To begin with:

  squatline new my-car      write a study, commented, that runs as it is
  squatline check my-car    after each change: what it understood
  squatline run my-car      draw the cars, judge the limits, write the report

'squatline --help' lists the other commands; 'squatline explain spring' looks
words up."""

for _command in COMMANDS:
    app.command()(_command)


def main() -> None:
    """Run the command line and leave with its exit status; a user never sees a traceback."""
    # Threads of the linear algebra library cost more than they bring beside those of the engine.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    write_plainly()
    try:
        require_room()
        sys.exit(_status())
    except SquatlineError as error:
        from explorer.study.places import placed

        complain(f"squatline: {placed(error)}")
        sys.exit(WRONG_INPUT)
    except (KeyboardInterrupt, typer.Abort) as error:
        if isinstance(error.__cause__, EOFError):  # the library takes a lost process for a closed input
            _usage_or_fault(error)
        complain(
            "squatline: interrupted; nothing was left half-written, and a long command goes on where it was "
            "when it is given again"
        )
        sys.exit(INTERRUPTED)
    except BrokenPipeError:
        # The reader of a pipe has gone; Python would complain again while flushing at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(UNREAD)
    except Exception as error:
        _usage_or_fault(error)


def _status() -> int:
    """Do as told; outside its own standalone mode the library hands even an interruption back as a status."""
    status: int = app(standalone_mode=False) or DONE
    if status == INTERRUPTED:
        raise KeyboardInterrupt
    return status


def _usage_or_fault(error: BaseException) -> NoReturn:
    if hasattr(error, "format_message") and hasattr(error, "exit_code"):
        complain(
            f"squatline: {error.format_message()}\n"
            "  remedy:  'squatline --help' lists the commands and options"
        )
        sys.exit(WRONG_INPUT)
    if os.environ.get("SQUATLINE_TRACE"):
        raise error
    from explorer.console.refusals import refusal

    if told := refusal(error):
        complain(f"squatline: {told}")
        sys.exit(WRONG_INPUT)
    complain(
        f"squatline: a fault of the program itself: {type(error).__name__}: {error}\n"
        "  remedy:  run again with SQUATLINE_TRACE=1 in the environment and report what it prints"
    )
    sys.exit(FAULT)


def _tell_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        say(f"squatline {version('squatline')}")
        raise typer.Exit(DONE)


@app.callback(invoke_without_command=True)
def begin(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option("--version", callback=_tell_version, is_eager=True, help="Say which version it is."),
    ] = False,
) -> None:
    """Greet who gives no command."""
    if context.invoked_subcommand is None:
        say(GREETING)
