"""What logs changed, how seldom a limit fails, and a logged run that is not explained."""

from __future__ import annotations

from dataclasses import replace

from explorer.estimators.rare import RareFailure
from explorer.graph.written import MINUS
from explorer.results.failing_cars import InputMoved
from explorer.results.logged_runs import Belief, FittedFile, ReplacedInput
from explorer.results.records import RareFailureRecord
from reports.formatting import THIN_SPACE
from reports.options import ReportOptions
from reports.page import figures
from reports.report import Report
from reports.sections import rare_failures, sections
from tests.report_analyses import validation, with_findings
from tests.reports.test_content import HEAVY, Reader, said

BELIEF = Belief(2600.0, 250.0, "judged")
FOUND = Belief(2446.2, 19.9, "rear spring log, 2026-03-14, sha256 e849ba2b238d")


def fits(as_written: bool) -> tuple[FittedFile, ...]:
    replaced = ReplacedInput("rear_wheel_rate", "N/m", "N/mm", BELIEF, FOUND, -0.6, 0.08)
    return (FittedFile("f.toml", (replaced,), as_written),)


def first_page(reader: Reader) -> str:
    return reader.text[: reader.text.index("Compliance matrix")]


def test_an_input_from_a_log_shows_before_and_after() -> None:
    reader = said(with_findings(fits=fits(True)))
    row = f"rear wheel rate 2.60 ± 0.25 N/mm 2.446 ± 0.020 N/mm {MINUS}0.6 8 %"
    for words in (
        "1 input of this study comes from a fitted log; the rear wheel rate moved most: down",
        row,
        "rear wheel rate rear spring log, 2026-03-14",
    ):
        assert words in reader.text
    assert "changed by hand since" not in reader.text


def test_a_file_without_its_record_is_named() -> None:
    text = said(with_findings(fits=fits(False))).text
    assert "Without the record of a fit, or changed by hand since: f.toml." in text


def test_a_run_that_is_not_explained_stands_on_the_first_page() -> None:
    records = tuple(replace(one, explains=False, title="Second run") for one in validation())
    page = first_page(said(with_findings(validation=records)))
    assert "A logged run does not go as this study predicts (Second run)." in page
    # Before anything that rests on the same models.
    assert page.index("does not go as") < page.index("May we run it?")


def test_two_runs_of_one_quantity_are_drawn_apart() -> None:
    first = replace(validation()[0], title="First run")
    second = replace(first, title="Second run", logged=(0.02, 0.03, 0.05))
    report = Report(with_findings(validation=(first, second)), ReportOptions(leave_out=HEAVY))
    drawn = [figure for figure in figures(sections(report)) if figure.name.startswith("validation-")]
    assert len({figure.name for figure in drawn}) == 2
    assert [figure.title.partition(":")[0] for figure in drawn] == ["First run", "Second run"]
    assert drawn[0].charts[0] != drawn[1].charts[0]


def test_a_run_that_is_explained_does_not() -> None:
    assert "does not go as" not in first_page(said(with_findings(validation=validation())))


def test_how_seldom_a_limit_fails_and_the_car_that_does() -> None:
    culprit = InputMoved("rear_wheel_rate", 2100.0, 2600.0, -2.0, 0.9)
    found = RareFailure(
        probability=1 / 9200,
        low=1 / 9500,
        high=1 / 8900,
        variation=0.02,
        method="subset simulation",
        subset=1 / 9200,
        subset_variation=0.02,
        weighted=1 / 9100,
        weighted_variation=0.03,
        agree=True,
        evaluations=10_000,
        distance=3.7,
        note="",
    )
    reader = said(with_findings(rare=(RareFailureRecord("stays level", found, (culprit,)),)))
    beyond = replace(found, probability=1e-8, high=1e-7)
    missed = RareFailureRecord(
        "stays level", replace(found, note="the search missed a way to fail"), (culprit,)
    )
    words_of_it = str(rare_failures.build(Report(with_findings(rare=(missed,)))))
    assert "The search missed a way to fail." in words_of_it
    assert "fewer than 1 car in 1 000 000 fails" in rare_failures.how_often(beyond).replace(THIN_SPACE, " ")
    for words in (
        "Failures too rare to count",
        "About 1 car in 9 200 fails (8 900 to 9 500).",
        "rear wheel rate",
        "instead of",
    ):
        assert words in reader.text
