"""The command ``inputs``: the inputs of a study as a table for a spreadsheet, and back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from explorer.console.options import AllowCode, StudyPath
from explorer.console.telling import say
from explorer.console.working import load


def inputs(
    study: StudyPath,
    to: Annotated[Path | None, typer.Option("--to", help="CSV file to write.", show_default=False)] = None,
    taken_from: Annotated[
        Path | None,
        typer.Option("--from", help="CSV file to take back: changed and new rows go into the study."),
    ] = None,
    allow_code: AllowCode = False,
) -> None:
    """Write the inputs as a table for a spreadsheet, or read it back.

    Comments of the study stay.
    """
    from explorer.study.sheet import sheet_text, take_sheet, write_sheet

    loaded = load(study, allow_code)
    if taken_from is not None:
        taken = take_sheet(loaded, taken_from)
        for words, names in (("changed", taken.changed), ("added", taken.added)):
            if names:
                say(f"{words} in {loaded.path}: {', '.join(names)}")
        if not taken.changed and not taken.added:
            say("nothing in the table is other than in the study")
        if taken.left_out:
            say(f"not in the table, and left as they are: {', '.join(taken.left_out)}")
    if to is not None:
        write_sheet(loaded, to)
        say(f"wrote {to}\nto take it back: squatline inputs {study} --from {to}")
    if to is None and taken_from is None:
        say(sheet_text(loaded).removeprefix("\ufeff").rstrip())
