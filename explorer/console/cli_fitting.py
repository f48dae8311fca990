"""The commands about logs: ``fit`` turns them into inputs, ``validate`` holds the prediction against them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from explorer.console.options import DONE, NOT_PASSED, UNFINISHED, AllowCode, AsJson, StudyPath, strict
from explorer.console.telling import complain, print_json, say
from explorer.console.working import load
from explorer.errors import SampleError, StudyError

_NOTHING_WRITTEN = (
    "Nothing was written: --include puts these inputs into the study, --write leaves them beside it."
)

if TYPE_CHECKING:
    from explorer.logs.fits import Fitted


def fit(
    study: StudyPath,
    name: Annotated[str | None, typer.Argument(help="One fit of the study; all by default.")] = None,
    write: Annotated[
        bool, typer.Option("--write", help="Write the inputs found beside the study, for it to include.")
    ] = False,
    include: Annotated[
        bool,
        typer.Option(
            "--include", help="Write them, and have the study include them; nothing else changes in it."
        ),
    ] = False,
    update: Annotated[
        bool,
        typer.Option("--update", help="Weigh the log against what the study believes, by its own samples."),
    ] = False,
    strict: Annotated[bool, strict("every log can be used")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Turn the logs of a study into inputs with their uncertainty."""
    from explorer.logs.fit_records import fit_record
    from explorer.logs.fit_writing import line_to_add
    from explorer.logs.fits import fit as fit_logs
    from explorer.results.json import json_data
    from reports.sections.fitting import fit_blocks
    from reports.terminal import show_blocks

    loaded = load(study, allow_code)
    fitted = fit_logs(loaded, name, update=update)
    records = [fit_record(one) for one in fitted]
    if not fitted:
        raise StudyError(
            "the study has no log to be fitted",
            file=str(loaded.path),
            key="fits",
            remedy="add a section [fits.NAME] with kind, file and columns",
        )
    write = write or include
    written, refused = _written(fitted) if write else ([], {})
    line = line_to_add(written)
    if include and line is not None:
        from explorer.study.editing import add_includes

        add_includes(loaded.path, [one.file for one in written])
    if json:
        print_json(
            {
                "fits": json_data(records),
                "written": [str(one.path) for one in written],
                "not_written": refused,
                "line_to_add": None if include else line,
            }
        )
    else:
        show_blocks(fit_blocks(records, loaded))
        _say_written(loaded.path, written, refused, None if include else line, write)
    if refused:
        raise typer.Exit(UNFINISHED)
    raise typer.Exit(NOT_PASSED if strict and any(one.result.weakness for one in fitted) else DONE)


def _written(fitted: Sequence[Fitted]) -> tuple[list[Fitted], dict[str, str]]:
    """Write what can be used; return it, and why each of the others was not written."""
    from explorer.logs.fit_writing import write_fit

    written, refused = [], {}
    for one in fitted:
        if not one.inputs and len(fitted) > 1:
            continue
        try:
            write_fit(one)
            written.append(one)
        except SampleError as error:
            refused[one.name] = str(error)
    return written, refused


def _say_written(
    study: Path, written: Sequence[Fitted], refused: dict[str, str], line: str | None, asked: bool
) -> None:
    from reports.blocks import Paragraph
    from reports.terminal import show_blocks

    for one in written:
        say(f"wrote {one.path}")
    for name, why in refused.items():
        complain(f"! {name} was not written: {why}")
    if line is not None:
        say(
            f"to take it up give --include, or make this the first line of {study}, "
            "in place of an include line there:"
        )
        say(line)
    elif written:
        say("the study includes it: 'squatline run' takes it up")
    elif not asked:
        show_blocks((Paragraph((_NOTHING_WRITTEN,)),))


def validate(
    study: StudyPath,
    name: Annotated[str | None, typer.Argument(help="One logged run of the study; all by default.")] = None,
    write: Annotated[
        bool,
        typer.Option("--write", help="Write the errors of the models beside the study, for it to include."),
    ] = False,
    include: Annotated[
        bool,
        typer.Option(
            "--include", help="Write them, and have the study include them; nothing else changes in it."
        ),
    ] = False,
    strict: Annotated[bool, strict("every run is explained")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Hold the prediction against logged runs.

    Does the study explain them, and if not, where does it fail?
    """
    from explorer.logs.logged_runs import validate as hold
    from explorer.logs.model_errors import FILE, found_errors, write_model_errors
    from explorer.logs.validation_records import track_records
    from explorer.results.json import json_data
    from reports.blocks import Paragraph, Strong
    from reports.sections import validation
    from reports.terminal import show, show_blocks, words

    loaded = load(study, allow_code)
    tracked = hold(loaded, name)
    records = track_records(loaded, tracked)
    if not records:
        raise StudyError(
            "the study has no logged run to be held against",
            file=str(loaded.path),
            key="logged_runs",
            remedy="add a section [logged_runs.NAME] with file, columns, quantity and condition",
        )
    found = found_errors(tracked)
    explains = all(one.explains for one in records)
    if json:
        told = [
            {"headline": f"{one.title}: {words(validation.verdict_words(one))}", **json_data(one)}
            for one in records
        ]
        errors = [json_data(one) for one in found]
        print_json({"explains": explains, "logged_runs": told, "model_errors": errors})
    else:
        show_blocks((Paragraph((Strong(validation.headline(records)),)),))
        show([validation.section(records)])
        for one in found:
            say(one.words)
    if (write or include) and found:
        path = write_model_errors(loaded, found)
        if include:
            from explorer.study.editing import add_includes

            add_includes(loaded.path, [FILE])
        if not json:
            say(f"wrote {path}" + (", and the study includes it" if include else ""))
    raise typer.Exit(NOT_PASSED if strict and not explains else DONE)
