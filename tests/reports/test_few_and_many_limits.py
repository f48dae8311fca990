"""Reports of studies unlike the demos: one limit, all failing, nothing that measuring could change."""

from __future__ import annotations

import re
from dataclasses import replace
from types import SimpleNamespace
from xml.etree import ElementTree

import numpy as np

from explorer import pipeline
from explorer.estimators.conformance import judge_margins
from explorer.estimators.measuring import Expected
from explorer.results.actions import Setting, actions_of
from explorer.results.exploration import SpeedResult, VariableRecord
from reports import vega
from reports.blocks import Figure, Paragraph, Quiet, Table
from reports.charts import height_of, row_names
from reports.charts_of_designs import ChanceCurve, Interval, chances, intervals
from reports.charts_of_effects import SignedBar, signed_bars
from reports.charts_of_limits import MOST_ROWS, LimitRow, limit_rows, part_matrix
from reports.charts_of_measuring import before_and_after
from reports.findings import JudgedBuild
from reports.report import Report
from reports.sections import actions, decision, design, measuring, speed_steps, verdicts
from reports.terminal import words
from tests.report_analyses import LIMIT, outcome, with_findings
from tests.report_analyses import design as design_of
from tests.report_analyses import measuring as plan_of_measurements
from tests.report_fixture import make_results

RESULTS = make_results()
SUMMARY = RESULTS.summary
PLAN = plan_of_measurements()
WING = VariableRecord("wing", "wing height", 0.0, 1.0, 0.01, 0.5, "m", "mm", "kept")


def with_limits(*limits: object) -> Report:
    return Report(replace(RESULTS, summary=replace(SUMMARY, limits=limits)))


def told(report: Report, section: object) -> str:
    return " ".join(words(one.line) for one in section.blocks if isinstance(one, Paragraph))  # type: ignore[attr-defined]


def test_of_one_limit_nothing_is_said_of_all_at_once() -> None:
    first, second, *others = (replace(limit, safety=True) for limit in SUMMARY.limits)
    report = with_limits(first)
    assert "at once" not in told(report, verdicts.build(report))
    # Where every limit is one for safety, the same is said once.
    report = with_limits(first, second)
    assert told(report, verdicts.build(report)).count("at once") == 1
    report = with_limits(first, second, *(replace(one, safety=False) for one in others))
    assert told(report, verdicts.build(report)).count("at once") == 2


def test_no_limit_is_called_kept_where_none_passes() -> None:
    failing = replace(SUMMARY.limits[0])
    assert failing.conformance.verdict == "fail"
    passing = next(limit for limit in SUMMARY.limits if limit.conformance.verdict == "pass")
    setting = Setting(WING, 0.04, "", (failing.name,), (), ((WING, 0.05),))
    for others in ((), (passing,)):
        report = with_limits(failing, *others)
        change = next(one for one in actions_of(report.summary) if one.todo == "change")
        change = replace(change, settings=(setting,), unanswered=())
        for short in (True, False):
            said = words(actions._words(report, change, short))
            assert ("no limit that passes now is lost" in said) is bool(others)
            assert "Each limit is named" not in said
            assert said.endswith(".")
        assert "Or instead: wing height to 50" in said
        assert "alone" not in said


def test_verdicts_that_measuring_cannot_change_are_named_once() -> None:
    failing = SUMMARY.limits[0]
    for names in ((failing.name,), (failing.name, SUMMARY.limits[1].name)):
        report = with_limits(*SUMMARY.limits)
        change = next(one for one in actions_of(report.summary) if one.todo == "change")
        said = words(actions._words(report, replace(change, unanswered=names, clearly=names), False))
        assert f"Measuring cannot change {'this verdict' if len(names) == 1 else 'these verdicts'}." in said
        assert said.count(failing.name) == 1


def test_page_one_offers_no_measurement_for_what_passes_as_known_so_far() -> None:
    """Undecided for want of cars: what changes nothing keeps it passing, and was once the one advised."""
    (outlook,) = PLAN.outlooks
    passing = replace(
        PLAN,
        outlooks=(replace(outlook, now=outcome(1.0)),),
        worths=tuple(replace(one, before=outcome(1.0), after=outcome(0.99)) for one in PLAN.worths),
    )
    for plan, named in ((PLAN, (LIMIT,)), (passing, ())):
        found = [one for one in actions_of(replace(SUMMARY, measuring=plan)) if one.todo == "measure"]
        assert [one.limits for one in found] == [named]
    said = [words(line) for line in actions.action_lines(Report(with_findings(measuring=passing)))]
    (line,) = [one for one in said if "easure" in one and "hours" in one]
    assert words((measuring.headline(passing),))[1:] in line
    assert "No measurement listed" not in line


def test_a_chance_that_stays_is_not_called_lower() -> None:
    before, after = outcome(0.0), replace(outcome(0.0), loss=Expected(0.1999, 0.001))
    said = measuring.what_it_does("“X”", "(99 % required)", before, after)
    assert "leaves the chance of judging “X” wrongly" in said
    assert "lowers" not in said
    assert "lowers the chance" in measuring.what_it_does_beside(
        before, replace(after, consumer_risk=outcome(0.0).loss)
    )


def figures(section: object) -> dict[str, Figure]:
    return {one.name: one for one in section.blocks if isinstance(one, Figure)}  # type: ignore[attr-defined]


def test_measurements_that_bring_nothing_are_not_drawn() -> None:
    nothing = tuple(replace(one, gain=Expected(0.0, 0.001)) for one in PLAN.alone)
    section = measuring.build(Report(with_findings(measuring=replace(PLAN, alone=nothing, steps=()))))
    assert "measuring-worth" not in figures(section)
    section = measuring.build(Report(with_findings(measuring=PLAN)))
    assert "measuring-worth" in figures(section)


def test_the_measurement_named_under_the_picture_is_the_first_that_shows() -> None:
    """The largest gain may be known so badly that it does not show; another one's does."""
    first, *others = PLAN.alone
    plan = replace(PLAN, alone=(replace(first, gain=Expected(0.5, 0.4)), *others), gain=Expected(1.3, 0.02))
    figure = figures(measuring.build(Report(with_findings(measuring=plan))))["measuring-worth"]
    said = words(figure.caption)
    assert said.startswith("2, the rear spring rate, takes half an hour")
    assert "None of them" not in said
    assert "in all 130.0 ± 4.0 after 2 hours" in said
    assert "e+" not in words(figure.alternative)


def test_many_limits_that_fail_are_counted_not_listed() -> None:
    (outlook,) = PLAN.outlooks
    lost = replace(outlook, planned=outlook.now, best=outlook.now, everything=0.0)
    names = ("one", "two", "three")
    plan = replace(PLAN, steps=(), outlooks=tuple(replace(lost, limit=name) for name in names))
    assert measuring.headline(plan).endswith("is likely to show that any of the 3 limits passes")
    assert measuring.headline(replace(plan, outlooks=(lost,))).endswith(f"that “{LIMIT}” passes")


def test_a_chance_that_rises_is_explained() -> None:
    (outlook,) = PLAN.outlooks
    risen = replace(outlook, planned=replace(outcome(0.28), consumer_risk=Expected(0.5, 0.001)))
    for one in (outlook, risen):
        section = measuring.build(Report(with_findings(measuring=replace(PLAN, outlooks=(one,)))))
        said = words(figures(section)["before-after"].caption)
        assert ("save the dearer mistake" in said) is (one is risen)


def test_the_one_limit_that_passes_is_not_counted() -> None:
    (outlook,) = PLAN.outlooks
    good = replace(outlook, now=outcome(1.0), planned=outcome(1.0))
    report = Report(with_findings(measuring=replace(PLAN, steps=(), outlooks=(good, good))))
    assert "Both limits pass, and measuring would hardly ever" in told(report, measuring.build(report))
    report = Report(with_findings(measuring=replace(PLAN, steps=(), outlooks=(good,))))
    assert "The limit passes, and measuring would hardly ever change that." in told(
        report, measuring.build(report)
    )


LONG = "Front wheels stay down with the car trimmed nose-down by a degree and the flaps closed, at {} m/s"


def rows_of(chart: object, field: str) -> list[dict[str, object]]:
    sets = chart["datasets"].values()  # type: ignore[index]
    return [row for rows in sets for row in rows if field in row]


def test_names_that_differ_at_their_ends_keep_rows_of_their_own() -> None:
    """Cut at their ends they were one row, in which one limit lay over the other."""
    names = [LONG.format(speed) for speed in (45, 55, 65)]
    rows = [LimitRow(name, "fail", "all", True, -1.0, 0.0, 1.0, 0.5) for name in names]
    charts = {
        "name": limit_rows(rows),
        "limit": part_matrix([(name, "mass", 0.5) for name in names]),
        "chance": before_and_after([(name, 5.0, 4.0) for name in names]),
        "value": signed_bars([SignedBar(name, 1.0, 0.5, 1.5, False) for name in names], axis="margin [N]"),
        "middle": intervals([Interval(name, 0.0, 1.0, 2.0) for name in names], axis="difference [N]"),
    }
    for field, chart in charts.items():
        shown = {str(row.get("limit", row.get("name"))) for row in rows_of(chart, field)}
        assert len(shown) == 3, field
        assert all(len(name.splitlines()) == 2 for name in shown), field
        drawn = vega.svg(chart, "x")
        assert all(f"at {speed}" in drawn.replace("\u00a0", " ") for speed in (45, 55, 65)), field


def test_names_alike_at_both_ends_are_written_out() -> None:
    names = [f"{'the same beginning ' * 4}{middle} {'and the same end ' * 4}" for middle in ("one", "two")]
    assert len(set(row_names(names).values())) == 2
    assert height_of(names) >= 13 * len(names) * max(one.count("\n") + 1 for one in row_names(names).values())


def test_rows_of_long_names_do_not_run_into_each_other() -> None:
    """The picture of page one: every name keeps within the height of its row."""
    rows = [LimitRow(LONG.format(speed), "pass", "all", True, 1.0, 2.0, 3.0, 1.5) for speed in range(6)]
    root = ElementTree.fromstring(vega.svg(limit_rows(rows), "x"))
    height = float(root.attrib["height"])
    assert height < 6 * 26 + 60
    assert all(str(row["name"]).count("\n") <= 1 for row in rows_of(limit_rows(rows), "words"))


def test_what_lies_beyond_the_picture_is_not_drawn_at_its_end() -> None:
    """A dot at the end of the picture would say that the median lies there."""
    far = LimitRow("far", "pass", "all", True, 5.0, 7.0, 9.0, 5.5)
    (row,) = rows_of(limit_rows([far]), "words")
    assert (row["median"], row["decisive"], row["ahead"]) == (None, 5.5, "▶")
    farther = replace(far, low=8.0, median=9.0, high=10.0, decisive=8.5)
    (row,) = rows_of(limit_rows([farther]), "words")
    assert (row["low"], row["median"], row["decisive"], row["ahead"]) == (None, None, None, "far inside ▶")


def test_limits_without_room_in_the_picture_are_counted_below_it() -> None:
    report = Report(RESULTS)
    passing = next(limit for limit in SUMMARY.limits if limit.conformance.verdict == "pass")
    failing = SUMMARY.limits[0]
    many = (*(replace(passing, name=f"good {place}") for place in range(20)), failing)
    figure = decision.picture(report, JudgedBuild("", many, None))
    chart, *_ = figure.charts
    assert len(rows_of(chart, "words")) == MOST_ROWS
    assert str(rows_of(chart, "words")[0]["name"]).endswith(failing.name)
    assert "Not drawn, for want of room: 4 limits that pass (all limits)." in words(figure.caption)
    # Who cannot see the picture is told all of them.
    assert "good 19" in words(figure.alternative)
    some = decision.picture(report, JudgedBuild("", many[4:], None))
    assert "Not drawn" not in words(some.caption)


def with_answers(share: float, margin: float = 9.0) -> Report:
    """Return a report on one limit: that share of the cars lies far inside it, the others have no answer."""
    margins = np.full(1000, np.nan)
    margins[: round(1000 * share)] = margin + np.linspace(-1, 1, round(1000 * share))
    first = replace(SUMMARY.limits[0], conformance=judge_margins(margins, 0.95), safety=True)
    return with_limits(first)


def test_cars_without_an_answer_are_told_beside_the_verdict() -> None:
    """The median and the margin are those of the others, which may all lie far inside the limit."""
    report = with_answers(0.7)
    (reason, *_) = decision.may_run(report).why
    assert "and 30 % give no answer; 95 % must meet it" in " ".join(words(reason).split())
    (table, *_) = verdicts.build(report).blocks
    assert isinstance(table, Table)
    assert " ".join(words(table.rows[0][0].line).split()).endswith("; 30 % give no answer")
    assert isinstance(table.rows[0][0].line[-1], Quiet)
    assert not table.rows[0][0].line[-1].text.strip().startswith(";")
    (row,) = rows_of(
        decision.picture(report, JudgedBuild("", report.summary.limits, None)).charts[0], "words"
    )
    assert (row["short"], row["ahead"]) == ("◀ no answer", "▶")
    report = with_answers(0.995)
    assert "no answer" not in words(decision.may_run(report).why[0])
    (row,) = rows_of(
        decision.picture(report, JudgedBuild("", report.summary.limits, None)).charts[0], "words"
    )
    assert (row["short"], row["ahead"]) == ("", "far inside ▶")


def test_missing_answers_come_first_where_they_are_what_is_missed() -> None:
    for report, first in ((with_answers(0.7), True), (Report(RESULTS), False)):
        dont, second, *others = (words(line) for line in actions.action_lines(report, short=True))
        assert dont.startswith("Do not run")
        assert ("Find out why" in second) is first
        assert any("Find out why" in line for line in (second, *others))


def test_a_search_that_ends_is_said_to_end_for_a_candidate_too() -> None:
    end = SpeedResult("flap open", 90.0, 90.0, 90.0, (50.0, 55.0, 60.0))
    assert words(speed_steps.state_headline(end, "m/s")).endswith("m/s, where the search ends.")
    found = words(speed_steps.state_headline(replace(end, sure=89.0), "m/s"))
    assert "certain to 89" in found


def test_a_yes_or_no_has_no_median_and_no_margin() -> None:
    output = replace(
        SUMMARY.outputs[0],
        unit="1",
        lowest=0.0,
        highest=1.0,
        quantiles=((0.05, 0.0), (0.5, 1.0), (0.95, 1.0)),
    )
    limit = replace(SUMMARY.limits[0], unit="1")
    summary = replace(SUMMARY, outputs=(output, *SUMMARY.outputs[1:]), limits=(limit,))
    (table, *_) = verdicts.build(Report(replace(RESULTS, summary=summary))).blocks
    assert isinstance(table, Table)
    _, _, middle, _, margin, _ = (words(one.line) for one in table.rows[0])
    assert (middle, margin) == ("a yes or no", "")


def test_no_name_is_cut_in_the_key_of_chances() -> None:
    names = [f"Front wheels keep a load, closed at {speed} m/s, at held speed" for speed in (45, 55)]
    curves = [ChanceCurve(name, [10.0, 20.0], [1.0, 0.5]) for name in ("all at once", *names)]
    root = ElementTree.fromstring(vega.svg(chances(curves, x_axis="speed [m/s]"), "x"))
    written = ["".join(one.itertext()) for one in root.iter("{http://www.w3.org/2000/svg}text")]
    assert set(names) <= set(written)
    for one in root.iter("{http://www.w3.org/2000/svg}text"):
        if "".join(one.itertext()) in names:
            assert float(str(one.attrib["transform"]).partition("(")[2].partition(",")[0]) < 100


def test_what_was_read_on_the_day_begins_a_sentence() -> None:
    first, second, *others = SUMMARY.inputs
    read = tuple(replace(one, any_day=("any",)) for one in (first, second))
    results = replace(RESULTS, summary=replace(SUMMARY, inputs=(*read, *others)))
    (note, *_) = decision._today(Report(results))
    said = words(note.line)  # type: ignore[union-attr]
    assert said.startswith("Mass ")
    assert "; centre of gravity station " in said


def test_what_is_varied_around_a_candidate_is_marked_as_the_candidate_has_it() -> None:
    """A map around a candidate has that candidate's values in it, not the study's."""
    found = design_of(RESULTS)
    for around, mark, whose in (
        ("as it stands", "as in the study", "the diamond is the car as the study has it"),
        ("stiffer springs", "as in “stiffer springs”", "the diamond is the build “stiffer springs”"),
    ):
        maps = tuple(replace(one, around=around) for one in found.maps)
        answers = tuple(replace(one, around=around) for one in found.answers)
        moved = replace(found, maps=maps, answers=answers, build=around)
        section = design.build(Report(with_findings(design=moved)))
        pictures = figures(section)
        drawn = "".join(vega.svg(one.charts[0], "x") for one in pictures.values())
        assert mark in drawn
        assert ("as in the study" in drawn) is (around == "as it stands")
        assert any(whose in words(one.caption) for one in pictures.values())
        assert section is not None
        heads = [part.title for one in section.blocks if isinstance(one, Table) for part in one.columns]
        assert f"A{mark[1:]}" in heads


def test_the_other_limits_at_a_chosen_value_are_said_in_a_sentence() -> None:
    section = design.build(Report(with_findings(design=design_of(RESULTS))))
    (said,) = [words(one.caption) for one in figures(section).values() if "Choose" in words(one.caption)]
    assert re.search(
        r"Of the other limits “[^”]+” passes( and “[^”]+” (passes|fails \([^)]+\)))? there\.", said
    )


def test_inputs_without_a_source_are_counted_where_they_are_many() -> None:
    for number, said in ((3, "3 inputs: "), (40, "40 inputs: ")):
        inputs = [SimpleNamespace(key=f"input_{place}", source=None) for place in range(number)]
        study = SimpleNamespace(all_inputs=lambda found=inputs: found, conditions={})
        (warning,) = pipeline._warnings(study)  # type: ignore[arg-type]
        assert said in warning
        assert warning.endswith(" and 32 more") is (number == 40)
        assert len(warning) < 200


def test_safety_limits_that_pass_as_known_so_far_are_not_among_those_no_measurement_helps() -> None:
    (outlook,) = PLAN.outlooks
    limits = tuple(
        replace(one, safety=True, conformance=SUMMARY.limits[0].conformance) for one in SUMMARY.limits
    )
    plan = replace(PLAN, steps=(), worths=())
    for passing, said in (
        (0, "the 4 safety limits pass"),
        (1, "the 3 safety limits that fail as known so far pass"),
    ):
        outlooks = tuple(
            replace(outlook, limit=one.name, now=outcome(1.0 if place < passing else 0.0))
            for place, one in enumerate(limits)
        )
        summary = replace(SUMMARY, limits=limits, measuring=replace(plan, outlooks=outlooks))
        report = Report(replace(RESULTS, summary=summary))
        lines = [words(line) for line in actions.action_lines(report, short=True)]
        assert any(said in line for line in lines)
