"""What commands say while they work and when they are done."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NoReturn

import typer

from explorer.console.options import UNFINISHED
from explorer.files.characters import visible

if TYPE_CHECKING:
    from explorer.engine.plan import Progress
    from explorer.engine.stages import Stages
    from explorer.results.stored import Results


def say(text: object) -> None:
    """Print for who asked."""
    print(visible(str(text)))


def complain(text: str) -> None:
    """Print beside what was asked for."""
    print(visible(text), file=sys.stderr)


def print_json(value: Any) -> None:
    """Print data for machines."""
    from explorer.results.json import json_text

    print(json_text(value))


@contextmanager
def progress_shown(quiet: bool) -> Iterator[Progress]:
    """Show a bar with the time left on a terminal, and nothing elsewhere."""
    from explorer.console.terminal import progress_bar

    with progress_bar(hidden=quiet) as report:
        yield report


def tell_problems(problems: tuple[str, ...]) -> None:
    """Say what a report lacks."""
    for problem in problems:
        complain(f"! {problem}")


def note_failures(stages: Stages, results: Results) -> None:
    """Take over what came to no result in a run."""
    stages.failures += results.summary.unfinished
    stages.errors += results.errors


def leave(stages: Stages, status: int) -> NoReturn:
    """Leave with a status, another where a stage came to no result; a fault of the program shows where."""
    if stages.failures:
        if os.environ.get("SQUATLINE_TRACE"):
            for error in stages.errors:
                traceback.print_exception(error)
        names = ", ".join(f"“{failure.stage}”" for failure in stages.failures)
        complain(
            f"squatline: not all could be computed, what could is written; no result of {names}\n"
            "  remedy:  see the reasons given; SQUATLINE_TRACE=1 in the environment prints where it failed"
        )
        status = UNFINISHED
    raise typer.Exit(status)
