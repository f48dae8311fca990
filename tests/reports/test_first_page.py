"""The first page: every question of a builder answered in one line, and whether enough cars were drawn."""

from __future__ import annotations

import re
from dataclasses import replace
from io import StringIO
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest
from rich.console import Console
from study_help import CHASE, DEMO

from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.console.terminal import summary_as_data
from explorer.estimators.conformance import judge_margins
from explorer.graph.labels import label
from explorer.model import SUBJECTS
from explorer.results.exploration import SpeedResult
from explorer.results.records import Convergence, LimitRecord, Summary
from explorer.results.stored import Results
from explorer.study.study import load_study
from reports import terminal
from reports.charts import wrapped
from reports.findings import judged_build, leading_inputs
from reports.formatting import kept_together
from reports.options import ReportOptions
from reports.page import page
from reports.questions import ALWAYS, BY_SUBJECT, FLIP, MECHANISM, OTHER, SCRAPE, SPEED, questions
from reports.report import Report, severity
from reports.sections import decision, sections, verdicts
from reports.terminal import show_blocks
from tests.report_analyses import candidates, design, highest_speed, with_analyses, with_findings
from tests.report_fixture import make_results
from tests.reports.test_content import HEAVY, Reader, said, written


def first_page(results: Results) -> str:
    text = said(results).text
    return text[text.index("At a glance") : text.index("Compliance matrix")]


def limited(summary: Summary, quantity: str) -> LimitRecord:
    return replace(summary.limits[0], name=quantity, quantity=quantity)


@pytest.mark.parametrize(
    ("quantity", "subject", "question"),
    [
        ("top_speed", "speed", SPEED),
        ("front_axle_load", "pitch", FLIP),
        ("rear_floor_edge_clearance", "pitch", SCRAPE),
        ("servo_torque_in_hand", "servo", MECHANISM),
        ("something_own", "", OTHER),
    ],
)
def test_a_limit_answers_the_question_of_its_subject(quantity: str, subject: str, question: str) -> None:
    summary = make_results().summary
    entry = replace(summary.handbook[0], name=quantity, subject=subject)
    summary = replace(
        summary, limits=(limited(summary, quantity),), handbook=(*summary.handbook, entry) if subject else ()
    )
    asked = {one.words: [limit.name for limit in one.limits] for one in questions(summary)}
    assert asked[question] == [quantity]
    assert set(ALWAYS) <= set(asked)
    assert sum(map(len, asked.values())) == 1


def test_every_subject_that_is_sorted_is_a_model_file() -> None:
    named = [name for variants in SUBJECTS.values() for names in variants.values() for name in names]
    files = {name.rpartition(".")[2] for name in named}
    assert set(BY_SUBJECT) <= files


def test_every_line_of_a_verdict_says_the_throttle_that_it_hangs_on() -> None:
    results = make_results()
    first, *others = results.summary.limits
    driven = replace(first, throttle="at full throttle")
    shown = replace(results, summary=replace(results.summary, limits=(driven, *others)))
    called = f"{first.name}, at full throttle"
    compared = replace(shown, summary=replace(shown.summary, candidates=candidates(results)))
    page = written(compared, leave_out=HEAVY).text
    first_page, matrix = page[: page.rindex("Compliance matrix")], page[page.rindex("Compliance matrix") :]
    assert first_page.count(called) >= 2
    assert "at full throttle" in matrix
    console = Console(file=StringIO(), width=120)
    show_blocks(decision.in_short(Report(shown)), console)
    assert called in console.file.getvalue()  # type: ignore[attr-defined]
    assert page.count(first.name) == page.count(called)
    data = summary_as_data(shown, Path(), ())
    assert [limit["throttle"] for limit in data["limits"]] == ["at full throttle", *("" for _ in others)]


def test_questions_without_a_limit_are_shown_as_not_asked() -> None:
    page = first_page(make_results())
    assert "Does the flap mechanism work? no limit The study sets no limit on this." in page
    assert "Which numbers lack a source? 2 of 10 that the study gives have no source" in page


def test_the_glance_says_what_to_build_once_builds_are_compared() -> None:
    assert "squatline compare sets builds side by side" in first_page(make_results())
    found = candidates(make_results())
    meets = "What to build? 1 of 2 candidates meets every limit: stiffer springs."
    assert meets in first_page(with_findings(candidates=found))


def test_what_nobody_has_measured_is_counted_where_it_is_decided() -> None:
    summary = make_results().summary
    first, *others = (replace(one, source="tape") for one in summary.inputs)
    known = replace(summary, inputs=(first, *others))
    made_up = replace(summary, inputs=(replace(first, source="made up"), *others))

    def told(summary: Summary) -> str:
        console = Console(file=StringIO(), width=200)
        show_blocks(decision.in_short(Report(replace(make_results(), summary=summary))), console)
        return " ".join(console.file.getvalue().split())  # type: ignore[attr-defined]

    assert "Of its inputs, 1 is made up or guessed." in told(made_up)
    assert "Of its inputs" not in told(known)


def test_limits_are_counted_in_words() -> None:
    results = make_results()
    verdict = [limit.conformance.verdict for limit in results.summary.limits]
    page = said(results).text
    assert f"Of {len(verdict)} limits, {verdict.count('pass')} pass, 1 fails and 1 is undecided." in page
    passed = tuple(limit for limit in results.summary.limits if limit.conformance.verdict == "pass")
    page = said(replace(results, summary=replace(results.summary, limits=passed))).text
    assert "Both limits pass. Both are met at once by " in page


def row_of(result: Results, place: int) -> dict[str, float | str | None]:
    """Return what the picture of the limits draws in one row."""
    figure = decision.picture(Report(result), judged_build(result.summary))
    sets = figure.charts[0]["datasets"].values()
    rows = next(rows for rows in sets if "verdict" in rows[0])
    return dict(rows[place])


def test_a_limit_passes_where_its_deciding_car_lies_right_of_the_line() -> None:
    results = make_results()
    found = [limit.conformance for limit in sorted(results.summary.limits, key=severity)]
    for place, one in enumerate(found):
        row = row_of(results, place)
        if row["decisive"] is None:
            assert one.margin.surplus < 0
            assert row["short"]
        else:
            assert (float(row["decisive"]) >= 0) == (one.margin.surplus >= 0)
        if row["median"] is not None:
            median = one.margin.median / one.margin.sd
            assert float(row["median"]) == pytest.approx(min(median, 6.0), rel=1e-4)


def test_guard_bands_are_no_second_name_of_what_is_required() -> None:
    """Once the risks of consumer and producer were told, which are 1 - p and p, row for row."""
    results = make_results()
    table = verdicts.guard_bands(Report(results))
    assert [one.title for one in table.columns] == ["Limit", "Guard band", "Spare", "Cars", "No answer"]
    for row, limit in zip(table.rows, results.summary.limits, strict=True):
        assert "%" not in " ".join(terminal.words(one.line) for one in row[1:]) or "%" in limit.display_unit


def test_cars_without_an_answer_are_counted_lowest() -> None:
    results = make_results()
    first = results.summary.limits[0]
    none = replace(first, conformance=judge_margins(np.r_[np.full(50, 9.0), np.full(50, np.nan)], 0.95))
    row = row_of(replace(results, summary=replace(results.summary, limits=(none,))), 0)
    assert row["decisive"] is None
    assert str(row["short"]).startswith("◀")


def test_a_yes_or_no_quantity_is_shown_by_its_share() -> None:
    results = make_results()
    output = replace(
        results.summary.outputs[0],
        unit="1",
        lowest=0.0,
        highest=1.0,
        quantiles=((0.05, 0.0), (0.5, 1.0), (0.95, 1.0)),
    )
    first = replace(results.summary.limits[0], unit="1")
    summary = replace(results.summary, outputs=(output, *results.summary.outputs[1:]), limits=(first,))
    row = row_of(replace(results, summary=summary), 0)
    assert row["median"] is None
    share = first.conformance.probability
    normal = NormalDist()
    place = normal.inv_cdf(share) - normal.inv_cdf(first.probability)
    assert float(row["decisive"]) == pytest.approx(place, rel=1e-4)  # type: ignore[arg-type]
    for margin, shown, words in ((1.0, "ahead", "far inside ▶"), (-1.0, "short", "◀ far short")):
        every = replace(first, conformance=judge_margins(np.full(50, margin), 0.95))
        row = row_of(replace(results, summary=replace(summary, limits=(every,))), 0)
        assert row[shown] == words


def test_the_first_page_speaks_of_the_recommended_build() -> None:
    results = make_results()
    found = candidates(results)
    good = judge_margins(np.full(8192, 3.0) + np.arange(8192) / 8192, 0.95)
    stiff = replace(found.candidates[0], limits=(good,) * len(found.limits))
    found = replace(found, candidates=(stiff, *found.candidates[1:]))
    page = said(with_findings(candidates=found)).text
    assert "Judged here: the recommended build, stiffer springs. The car as the study has it fails" in page
    assert "May we run it? ✓ pass May be run, under the cautions" in page
    none = replace(found, recommended=None)
    page = said(with_findings(candidates=none)).text
    assert "Judged here" not in page
    assert "May we run it? ✗ fail DO NOT RUN" in page


def test_whether_enough_cars_were_drawn_is_said_with_the_statistics() -> None:
    found = Convergence(("pitch | a",), ("top_speed | a", "top_speed | b"), 217_000)
    reader = said(with_findings(convergence=found))
    text = reader.text
    enough = text[text.index("Were enough cars drawn?") :]
    for words in (
        "of 1 out of 3 quantities would come out the same to the second digit",
        "would take about 220 000 cars (squatline run --until steady draws them)",
        "Last digit still moving: top speed.",
    ):
        assert words in enough
    # From the page that tells how to get the numbers again, a link leads there.
    assert "were they enough?" in text
    assert verdicts.ENOUGH in [heading.get("id") for heading in reader.all("h3")]
    assert f"#{verdicts.ENOUGH}" in reader.values("href")


def test_nothing_is_said_of_figures_that_were_not_watched() -> None:
    text = said(make_results()).text
    assert "Were enough cars drawn?" not in text
    assert "were they enough?" not in text


def test_the_first_page_speaks_of_the_best_build_found() -> None:
    """After ``explore``: the build whose every limit passed on fresh cars, by its own verdicts."""
    results = make_results()
    found = design(results)
    assert found.search is not None
    assert found.search.optimum is not None
    good = judge_margins(np.full(8192, 3.0) + np.arange(8192) / 8192, 0.95)
    best = replace(found.search.optimum, limits=(good,) * len(found.search.limits), all_limits=good)
    found = replace(found, search=replace(found.search, optimum=best))
    first = first_page_of(with_findings(design=found, highest_speed=highest_speed()))
    assert "Judged here: the best build found. With rear wheel rate 5.4 N/mm, wing area 0.031 m²" in first
    assert "The car as the study has it fails" in first
    assert "May we run it? ✓ pass May be run, under the cautions" in first
    assert (
        "Build the best build found, rear wheel rate 5.4 N/mm, wing area 0.031 m², instead: it meets" in first
    )
    # The speeds that were looked for are of the car as it stands.
    assert "all safety limits are met up to" not in first
    # One that fails a limit on fresh cars is none to build.
    assert "Judged here" not in first_page_of(with_findings(design=design(results)))


def test_speeds_on_the_first_page_are_of_the_build_that_is_judged() -> None:
    found = highest_speed()
    assert "up to 158.4" in first_page_of(with_findings(highest_speed=found))
    assert "up to 158.4" not in first_page_of(with_findings(highest_speed=replace(found, build="quick")))
    compared = candidates(make_results())
    speeds = (SpeedResult("flap closed", 41.0, 40.0, 42.0, None),)
    first, *others = compared.candidates
    compared = replace(compared, candidates=(replace(first, speeds=speeds), *others))
    first = first_page_of(with_findings(candidates=compared, highest_speed=found))
    assert "up to 147.6 km/h (certain to 144" in first
    assert "up to 158.4" not in first
    sheet = Report(with_findings(candidates=compared, highest_speed=found), ReportOptions(purpose="strip"))
    assert "of the build “as it stands”, not of the one judged" in Reader(page_of(sheet)).text


def test_who_drives_has_the_cautions_of_the_cars_on_the_sheet() -> None:
    results = make_results()
    warned = replace(
        results,
        summary=replace(
            results.summary,
            warnings=("no wind is given",),
            cautions_of_cars=("ease off when the nose rises",),
        ),
    )
    sheet = Reader(page_of(Report(warned, ReportOptions(purpose="strip")))).text
    assert sheet.index("Not a permission") < sheet.index("Ease off when the nose rises.")
    assert "No wind is given" not in sheet


def page_of(report: Report) -> str:
    return page(report, sections(report))


def first_page_of(results: Results) -> str:
    text = said(results).text
    return text[: text.index("Compliance matrix")]


def test_the_speed_of_a_condition_is_left_out_where_it_does_not_matter() -> None:
    results = make_results()
    first, *_ = results.summary.limits
    (at_45, *conditions) = results.summary.conditions
    conditions = (replace(at_45, words="closed, 162 km/h"), *conditions)
    assert first.condition == at_45.name
    for matters, words in ((True, "closed, 162 km/h"), (False, "closed")):
        outputs = tuple(replace(one, at_speed=matters) for one in results.summary.outputs)
        report = Report(
            replace(results, summary=replace(results.summary, conditions=conditions, outputs=outputs))
        )
        assert report.where(first) == report.where(report.output(first)) == words


def test_what_answers_for_nothing_is_not_among_what_matters_most() -> None:
    summary = make_results().summary
    idle = {"air_temperature", "mass"}
    none = [
        index.total.value
        for limit in summary.limits
        for index in (limit.sensitivity.indices if limit.sensitivity else ())
        if index.name in idle
    ]
    assert none
    assert max(none) < 0.02
    names = leading_inputs(summary, len(summary.inputs))
    assert {"splitter_pitch_slope", "rear_wheel_rate", "body_drag_area"} <= set(names)
    assert idle.isdisjoint(names)


def test_now_is_said_of_nothing() -> None:
    """Once it stood for the best estimate, for the study's value and for the time of the run."""
    assert not re.search(r"\bnow\b", said(with_analyses()).text, re.IGNORECASE)


@pytest.mark.parametrize("study", [DEMO, CHASE])
def test_no_chart_of_a_demo_cuts_a_name(study: str) -> None:
    loaded = load_study(study)
    names = [limit.name for limit in loaded.limits]
    names += [label(one.quantity) for one in loaded.all_inputs()]
    names += [measurement.label for measurement in ways_to_measure(loaded).measurements]
    assert [name for name in names if " ".join(wrapped(name)) != kept_together(name)] == []


def test_the_first_page_has_one_percentage_to_reach_and_says_what_the_run_leaves_open() -> None:
    """A level of confidence beside a required share is taken for it where both are 95 %."""
    results = make_results()
    page = said(results).text
    page = page[page.index("May we run it?") : page.rindex("What next, in full")]
    assert "% interval" not in page
    left = re.search(r"78\.2 % of predicted cars \(known to lie between (\S+) and (\S+) %\); 95 % must", page)
    assert left is not None
    assert float(left[1]) < 78.2 < float(left[2])
