"""Pictures drawn beside this process are those drawn in it, and a form is the same either way."""

from __future__ import annotations

import gc
import subprocess
import sys
from concurrent.futures import BrokenExecutor, Executor, Future
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from explorer.engine.kept_values import KeptValues
from explorer.errors import RenderError
from reports import ReportOptions, render, vega
from reports import chart_worker as pictures_module
from reports.blocks import Figure
from reports.chart_worker import Pictures, drawing_beside, pictures
from reports.charts import Bar, share_bars
from reports.document import document
from reports.report import Report
from reports.sections import SECTIONS, sections
from tests.report_fixture import make_results

CHART = share_bars([Bar("mass", 0.5, 0.4, 0.6)], axis="share [%]")
FIGURE = Figure("one", "Title", "Words", draw=lambda: CHART)


class Elsewhere(Executor):
    """Does at once what it is asked, and notes it."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def submit(self, function: Any, /, *args: Any, **named: Any) -> Future[Any]:
        """Do it."""
        self.asked.append(function.__name__)
        done: Future[Any] = Future()
        done.set_result(function(*args, **named))
        return done


class Lost(Executor):
    """A process that ends before its work is done, or has ended before it is asked."""

    def __init__(self, at_once: bool) -> None:
        self.at_once = at_once

    def submit(self, function: Any, /, *args: Any, **named: Any) -> Future[Any]:
        """Lose it."""
        if self.at_once:
            raise BrokenExecutor
        lost: Future[Any] = Future()
        lost.set_exception(BrokenExecutor())
        return lost


@pytest.mark.long
def test_both_forms_are_the_same_when_their_charts_are_drawn_beside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pictures_module, "default_workers", lambda: 2)
    here, beside = tmp_path / "here", tmp_path / "beside"
    for folder in (here, beside):
        folder.mkdir()
    few = ReportOptions(
        leave_out=tuple(name for name in SECTIONS if name not in ("distributions", "sideview"))
    )
    render(make_results(), here, options=few)
    with drawing_beside() as executor:
        assert executor is not None
        rendered = render(make_results(), beside, options=few, executor=executor)
    assert list(rendered.paths) == ["html", "pdf"]
    for form, path in rendered.paths.items():
        assert path.read_bytes() == (here / f"report.{form}").read_bytes()


def test_a_process_that_draws_loads_nothing_else() -> None:
    code = "import sys, reports.vega; reports.vega.start(); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not set(done.stdout.split()) & {"numpy", "jinja2", "weasyprint", "explorer", "reports.rendering"}


def test_one_processor_draws_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures_module, "default_workers", lambda: 1)
    with drawing_beside() as executor:
        assert executor is None


@pytest.mark.long
@pytest.mark.parametrize("at_once", [True, False])
def test_what_ended_a_process_is_told_and_not_tried_in_this_one(
    at_once: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> str:
        raise AssertionError("drawn in the process that is to survive")

    monkeypatch.setattr(vega, "svg", never)
    monkeypatch.setattr(vega, "bundle", never)
    drawn = pictures([FIGURE], "as given", executor=Lost(at_once))
    for asked in (partial(drawn.of, FIGURE), drawn.script):
        with pytest.raises(RenderError, match="has ended"):
            asked()
    rendered = render(make_results(), tmp_path, executor=Lost(at_once))
    assert rendered.paths == {}
    (problem,) = rendered.problems
    assert "squatline report" in problem


@pytest.mark.long
def test_the_chart_library_is_given_no_character_that_stops_it() -> None:
    """It aborts the whole process on most of these, in a title as in the data."""
    text = "".join(map(chr, [*range(9), *range(11, 32), 127, 0x9B, 0xFFFE, 0xFFFF]))
    chart = share_bars([Bar(text, 0.5, 0.4, 0.6)], axis=text)
    with drawing_beside() as executor:
        drawn = pictures([replace(FIGURE, draw=lambda: chart)], "as given", executor=executor).of(FIGURE)
    assert "\\x1b" in drawn
    assert not set(text) & set(drawn)


def test_only_what_is_needed_is_drawn() -> None:
    elsewhere = Elsewhere()
    drawing = replace(FIGURE, name="two", draw=None, drawings=("<svg/>",) * 3)
    pictures([FIGURE, drawing], "metric", executor=elsewhere, live=False)
    assert elsewhere.asked == ["svg"]


def test_only_what_has_changed_is_drawn_for_the_next_report(tmp_path: Path) -> None:
    kept = KeptValues(tmp_path / "values", "")
    changed = replace(FIGURE, name="two", draw=lambda: share_bars([Bar("mass", 0.6, 0.4, 0.7)], axis="x"))
    found = []
    for figures, asked in (([FIGURE], ["svg", "bundle"]), ([FIGURE], []), ([FIGURE, changed], ["svg"])):
        elsewhere = Elsewhere()
        drawn = pictures(figures, "metric", executor=elsewhere, kept=kept)
        found.append((drawn.of(FIGURE), drawn.script()))
        assert elsewhere.asked == asked
    assert found[0] == found[1] == found[2]
    # Nobody else's picture is believed.
    for file in kept.folder.iterdir():
        file.write_bytes(bytes(32) + b"<svg/>")
    assert pictures([FIGURE], "metric", kept=kept).of(FIGURE) == found[0][0]


def test_a_picture_that_cannot_be_drawn_stops_the_document_and_is_told() -> None:
    """The PDF library would leave the picture out and go on."""

    def failing(figure: Figure) -> str:
        raise ValueError(f"no picture of {figure.name}")

    report = Report(make_results())
    content = [section for section in sections(report) if section.id == "distributions"]
    with pytest.raises(ValueError, match="no picture of limit-"):
        document(report, content, Pictures(failing, str))


@pytest.mark.long
def test_cycles_are_looked_for_again_afterwards(tmp_path: Path) -> None:
    assert gc.isenabled()
    render(make_results(), tmp_path, forms=())
    assert gc.isenabled()
    gc.disable()
    try:
        render(make_results(), tmp_path, forms=())
        assert not gc.isenabled()
    finally:
        gc.enable()
