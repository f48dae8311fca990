"""The commands about a study before it is run: written, checked, screened, explained."""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from explorer.console.options import NUMBER, WORD, AllowCode, AsJson, StudyPath
from explorer.console.telling import print_json
from explorer.console.working import load
from explorer.errors import SquatlineError, read_all, with_file


def new(
    folder: Annotated[Path, typer.Argument(help="Folder to write the study into, without a study in it.")],
    flaps: Annotated[
        int, typer.Option(help="Flaps on one servo whose mechanism is looked at: 0 to 3.", metavar=NUMBER)
    ] = 0,
    drive: Annotated[
        str, typer.Option(help="power: shaft power; electric: battery, motor, gear.", metavar=WORD)
    ] = "power",
    wake: Annotated[bool, typer.Option("--wake", help="It follows another car.")] = False,
    brakes: Annotated[
        str | None,
        typer.Option(
            help="fitted: as strong as they are, by friction or motor; balance: only the front's share is "
            "known; ideal: the tyres decide; none: it coasts. Left out, stopping is not looked at.",
            metavar=WORD,
        ),
    ] = None,
    suspension: Annotated[
        str,
        typer.Option(
            help="wheel-rate: rates at the wheel; spring: springs, motion ratios, tyres.", metavar=WORD
        ),
    ] = "wheel-rate",
) -> None:
    """Write a commented study of the car, which runs as it is."""
    from explorer.study.template import CarHas, write_template
    from reports.blocks import Bullets, Code, Paragraph
    from reports.terminal import show_blocks

    written = write_template(folder, CarHas(flaps, drive, brakes, suspension, wake))
    named = shlex.quote(str(folder))
    show_blocks(
        (
            Paragraph((f"wrote {written}; it runs as it is. Put your own numbers in, then:",)),
            Bullets(
                (
                    (Code(f"squatline check {named}"), ": what it understood, and what is odd or missing"),
                    (Code(f"squatline run {named}"), ": draw the cars, judge the limits, write the report"),
                    (
                        Code("squatline explain WORDS"),
                        ": what a quantity is, what is usual, how it is measured",
                    ),
                )
            ),
        )
    )


def check(
    study: StudyPath,
    everything: Annotated[bool, typer.Option("--all", help="List inputs and quantities too.")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Check a study and its nominal car, without drawing any cars.

    The nominal car against each limit, and what is odd, assumed or missing.
    """
    from explorer.analyses.two_levels import check_kinds_apart
    from explorer.analyses.ways_to_measure import ways_to_measure
    from explorer.console.terminal_check import check_as_data, show_check
    from explorer.design.exploration import prepare
    from explorer.logs.run_checks import check_logs

    loaded = load(study, allow_code)
    with with_file(str(loaded.path)):
        read_all(loaded, (check_kinds_apart, ways_to_measure, check_logs, prepare))
    if json:
        print_json(check_as_data(loaded))
    else:
        show_check(loaded, study, everything)


def screen(
    study: StudyPath,
    rows: Annotated[
        int, typer.Option(min=16, max=2**16, metavar=NUMBER, help="Cars to start from, a power of two.")
    ] = 128,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Sort out which inputs matter to no limit.

    A quick look at a study with many of them.
    """
    from explorer.analyses.screening import screen
    from explorer.console.terminal_screening import screening_blocks
    from explorer.results.json import json_data
    from reports.terminal import show_blocks

    if rows & (rows - 1):
        raise SquatlineError(
            "the cars to start from are a power of two", key="--rows", found=rows, allowed="64, 128, 256 ..."
        )
    loaded = load(study, allow_code)
    look = screen(loaded, rows=rows)
    if json:
        print_json({**json_data(look), "rest_at_most": look.rest_at_most})
    else:
        show_blocks(screening_blocks(loaded, look))


def explain(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            help="A quantity, or words to look it up by: 'rear spring', scrape, N/mm.", metavar="[word]..."
        ),
    ] = None,
    study: Annotated[
        Path | None, typer.Option("--study", "-s", help="Show its values in this study too.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="List every quantity.")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Look up a quantity or a word of the study file.

    Its unit, where the formula is from, what it needs, its values in a study.
    """
    from explorer.console.explain import HandbookEntry, explain_all, explained_or_found
    from explorer.console.search import STUDY_WORDS, subjects
    from explorer.console.terminal_explain import (
        explanation_blocks,
        found_blocks,
        quantity_table,
        subject_blocks,
    )
    from reports.blocks import Block, Paragraph
    from reports.terminal import show_blocks

    loaded = load(study, allow_code) if study else None
    said: Iterable[Block]
    if everything:
        found: object = (entries := explain_all(loaded))
        said = [quantity_table("every quantity", entries)]
    elif not words:
        found = (parts := subjects())
        said = subject_blocks(parts)
    elif meant_in_study := STUDY_WORDS.get(" ".join(words).strip("[]").lower()):
        found = meant_in_study
        said = [Paragraph((meant_in_study,))]
    else:
        found = meant = explained_or_found(" ".join(words), loaded)
        if isinstance(meant, HandbookEntry):
            said = explanation_blocks(meant)
        else:
            said = found_blocks(" ".join(words), meant)
    if json:
        print_json(found)
    else:
        show_blocks(said)
