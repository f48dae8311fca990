"""From results to files: each form is written whole or not at all."""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from explorer.errors import RenderError
from explorer.files.writing import write_whole
from explorer.results.stored import Results
from reports.chart_worker import Kept, pictures
from reports.document import document
from reports.options import ReportOptions, checked_forms, logo_address
from reports.page import figures, page
from reports.report import Report
from reports.sections import SECTIONS, sections

FILES = {"html": "report.html", "pdf": "report.pdf"}


@dataclass(frozen=True)
class Rendered:
    """What was written, and what could not be.

    ``paths`` maps the form to its file; ``problems`` says, for a form that is missing, why and what to do.
    """

    paths: dict[str, Path]
    problems: tuple[str, ...]


def render(
    results: Results,
    folder: Path,
    *,
    forms: Sequence[str] = ("html", "pdf"),
    options: ReportOptions | None = None,
    executor: Executor | None = None,
    kept: Kept | None = None,
) -> Rendered:
    """Write the report into a folder.

    Parameters
    ----------
    results:
        A finished run, or one that was read back.
    folder:
        Where to put ``report.html`` and ``report.pdf``; it must exist.
    forms:
        "html", "pdf" or both.
    options:
        Paper, units, sections left out, cover words and logo.
    executor:
        Where to draw the charts while this process does the rest (``reports.chart_worker.drawing_beside``).
    kept:
        Where pictures of earlier reports lie, and those of this one are put.

    Returns
    -------
    Rendered
        The files written; a form that this machine cannot draw is a problem, not an error.

    Raises
    ------
    RenderError
        When an option is out of its range or the logo cannot be used.
    ResultsError
        When the folder cannot be written to.
    """
    chosen = (options or ReportOptions()).checked(tuple(SECTIONS))
    asked = checked_forms(tuple(forms))
    logo_address(chosen.logo)
    report = Report(results, chosen)
    paths: dict[str, Path] = {}
    problems: list[str] = []
    with _nothing_collected():
        content = sections(report)
        drawn = pictures(figures(content), chosen.units, executor=executor, live="html" in asked, kept=kept)
        # The printed form waits for its pictures as late as can be, the page begins with them.
        for form in sorted(asked, key=("pdf", "html").index):
            try:
                data = (
                    page(report, content, drawn).encode()
                    if form == "html"
                    else document(report, content, drawn)
                )
            except RenderError as error:
                problems.append(str(error))
                continue
            paths[form] = folder / FILES[form]
            write_whole(paths[form], data)
    return Rendered({form: paths[form] for form in asked if form in paths}, tuple(dict.fromkeys(problems)))


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """Let go of cycles afterwards: looking for them takes a fifth of the time, and finds next to none."""
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()
