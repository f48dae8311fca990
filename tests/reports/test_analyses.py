"""Sections on what was found beyond the run."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import altair as alt
import pytest

from explorer.estimators.effects import Change
from explorer.results.exploration import VariableRecord
from explorer.results.levers import LeverEffect, LeverRecord, Levers
from explorer.results.stored import load_summary, summary_text
from reports.options import ReportOptions
from reports.page import figures
from reports.report import Report
from reports.sections import sections, speed_steps
from reports.sections.levers import build_steps
from tests.report_analyses import candidates, design, design_point, with_analyses, with_findings
from tests.report_fixture import HOSTILE, make_results
from tests.reports.test_content import HEAVY, Reader, said, written

pytestmark = pytest.mark.long

RISING = [(0.0, 0.0), (2.0, 8.0), (4.0, 8.0)]
ANALYSES = ("measuring", "candidates", "design", "speed_steps", "validation")


@pytest.fixture(scope="module")
def reader() -> Reader:
    return written(with_analyses())


def test_each_has_its_section(reader: Reader) -> None:
    assert set(ANALYSES) <= {str(a["id"]) for a in reader.all("section")}


def test_what_to_measure_first_stands_on_the_first_page(reader: Reader) -> None:
    first = reader.text[reader.text.index("What next?") :][:600]
    assert (
        "meanwhile measure the splitter's downforce, which takes 2 hours, with a chance of 28 % of showing "
        "that “Front wheels carry load” passes" in first
    )


def test_each_measurement_says_what_it_brings(reader: Reader) -> None:
    for words in (
        "1 the splitter's downforce tied with no. 2 2 hours 8.00 ± 0.20",
        "4 the weight of the paint half an hour no clear gain",
        "1, the splitter's downforce, takes 2 hours and brings 8.00 ± 0.20",
        "The dashed steps add up the best order within 4 hours: 1; in all 8.00 ± 0.20 after 2 hours.",
        "the splitter's downforce, no. 1 as good at this step: rear spring rate",
        "28 % by the plan, 30 % by 4 hours spent on this limit alone (splitter's downforce)",
    ):
        assert words in reader.text
    # What a loss is stands before the first number of them.
    assert reader.text.index("Passing a car that does not meet it counts") < reader.text.index(
        "tied with no. 2"
    )


def test_measurements_are_drawn_where_the_table_says() -> None:
    content = sections(Report(with_analyses(), ReportOptions(leave_out=HEAVY)))
    (figure,) = [figure for figure in figures(content) if figure.name == "measuring-worth"]
    sets = list(figure.charts[0]["datasets"].values())
    (spots,) = [rows for rows in sets if "standing" in rows[0]]
    assert [(row["hours"], row["value"], row["standing"]) for row in spots] == [
        (2.0, 8.0, "tied with another"),
        (0.5, 7.8, "tied with another"),
        (0.5, 2.0, "stands out"),
        (0.5, 0.05, "no clear gain"),
    ]
    assert any([(row.get("hours"), row.get("value")) for row in rows] == RISING for rows in sets)
    for spot in spots:
        assert spot["name"].partition(": ")[2] in figure.spoken("as given")


def test_candidates_say_who_is_better_and_by_how_much(reader: Reader) -> None:
    for words in (
        "Recommended: stiffer springs.",
        "stiffer springs minus springs as built: +4.2 N, better in 99.20 % of cars.",
        "springs as built is no better anywhere than: stiffer springs.",
        "no limit and no objective depends on paint",
        "no source given",
        "201.60 km/h",
        # An objective has its own unit, whatever name it shares with another.
        "speed 12.000 N",
        "all safety limits are met up to, flap closed 160.6 km/h no speed",
    ):
        assert words in reader.text


def test_without_a_candidate_that_passes_none_is_recommended() -> None:
    found = candidates(make_results())
    assert (
        "No candidate passes every limit, so none is recommended."
        in said(with_findings(candidates=replace(found, recommended=None))).text
    )


def test_the_design_space_says_where_limits_hold(reader: Reader) -> None:
    for words in (
        "spring alone: every limit is met from 5 N/mm to 6 N/mm.",
        "Rear wheel rate: at least 5 N/mm (4.9 N/mm to 5.1 N/mm); choose 5.1 N/mm.",
        "The best tried for highest top speed: rear wheel rate 5.4 N/mm, wing area 0.031 m²; 205 km/h on "
        "average; but “Front wheels carry load” fails",
        "The best of 120 builds tried",
        "What stands in the way of more: Front wheels carry load.",
    ):
        assert words in reader.text


def test_a_search_without_a_find_says_what_came_nearest() -> None:
    found = design(make_results())
    assert found.search is not None
    nearest = design_point(5000.0, 0.03)
    search = replace(found.search, optimum=None, nearest=nearest, nearest_fails=("Worth the trouble",))
    text = said(with_findings(design=replace(found, search=search))).text
    assert "The build that came nearest." in text
    assert "It fails: Worth the trouble." in text


def test_the_speed_steps_are_no_permission(reader: Reader) -> None:
    steps = reader.text[reader.text.index("Speed steps, not a permission") :]
    assert "It is never a clearance to run." in steps[:600]
    assert "Flap closed: all safety limits are met up to 158.4 km/h (not certain at any speed" in steps
    assert "Look for fresh marks under the splitter." in steps
    # Where no speed is allowed there is no step to look after.
    report = Report(with_analyses())
    found = report.summary.highest_speed
    assert found is not None
    none = replace(found, states=tuple(replace(state, steps=()) for state in found.states))
    section = speed_steps.build(Report(with_findings(highest_speed=none)))
    assert "After each step" in str(speed_steps.build(report))
    assert "After each step" not in str(section)


def test_prediction_and_log_are_held_against_each_other(reader: Reader) -> None:
    assert "✓ pass the model explains this run: 67" in reader.text
    assert "67 % in the band, 55 to 100 % expected" in reader.text


def test_their_charts_fit_the_schema() -> None:
    names = ("limits", "measuring", "difference", "map", "answer", "speed", "validation")
    options = ReportOptions(leave_out=HEAVY)
    found = [f for f in figures(sections(Report(with_analyses(), options))) if f.name.startswith(names)]
    assert {re.split("-", figure.name)[0] for figure in found} == set(names)
    for figure in found:
        alt.Chart.from_dict(dict(figure.charts[0]), validate=True)


def test_verdicts_on_a_map_are_signs_and_not_greys_alone() -> None:
    content = sections(Report(with_analyses(), ReportOptions(leave_out=HEAVY)))
    (figure,) = [figure for figure in figures(content) if figure.name == "map-spring-and-wing"]
    (cells,) = [rows for rows in figure.charts[0]["datasets"].values() if "sign" in rows[0]]
    assert [cell["sign"] for cell in cells] == ["✗", "✗", "✓", "✗", "✗", "?"]


def test_they_read_the_same_after_a_round_trip_through_the_file(tmp_path: Any) -> None:
    results = with_analyses()
    (tmp_path / "summary.json").write_text(summary_text(results.summary), encoding="utf-8")
    again = replace(results, summary=load_summary(tmp_path))
    assert said(again).text == said(results).text


def test_hostile_words_in_findings_are_text() -> None:
    found = replace(design(make_results()), build=HOSTILE, notes=(HOSTILE,))
    hostile = said(with_findings(design=found))
    assert "b" not in {tag for tag, _ in hostile.tags}
    assert " ".join(HOSTILE.split()) in hostile.text


def test_a_step_that_changes_next_to_nothing_is_not_listed() -> None:
    limit = make_results().summary.limits[0]
    spread = limit.conformance.margin.sd
    variable = VariableRecord("wing_height", "wing height", 0.0, 1.0, 0.01, 0.5, "m", "mm", "kept")

    def effect(value: float, half: float) -> LeverEffect:
        return LeverEffect(limit.name, Change(value, value - half, value + half))

    moves = (effect(spread, spread / 10), effect(spread / 1000, spread / 9999), effect(spread, 2 * spread))
    levers = Levers((LeverRecord(variable, 0.01, moves),), 2000, 256, (), 4096)
    section = build_steps(Report(with_findings(levers=levers)))
    assert section is not None
    (table,) = section.blocks
    assert len(table.rows) == 1  # type: ignore[union-attr]
