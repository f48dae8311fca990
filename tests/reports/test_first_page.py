"""The first page: every question of a builder answered in one line, and whether enough cars were drawn."""

from __future__ import annotations

from dataclasses import replace

import pytest

from explorer.model import SUBJECTS
from explorer.results.records import Convergence, LimitRecord, Results, Summary
from reports.questions import ALWAYS, BY_SUBJECT, FLIP, MECHANISM, OTHER, SCRAPE, SPEED, questions
from reports.sections import verdicts
from tests.report_analyses import candidates, with_findings
from tests.report_fixture import make_results
from tests.reports.test_content import HEAVY, written


def first_page(results: Results) -> str:
    text = written(results, leave_out=(*HEAVY, "candidates")).text
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


def test_questions_without_a_limit_are_shown_as_not_asked() -> None:
    page = first_page(make_results())
    assert "Does the flap mechanism work? no limit Not asked: the study sets no limit on this." in page
    assert "Which numbers lack a source? 2 of 10 that the study gives have no source" in page


def test_the_glance_says_what_to_build_once_builds_are_compared() -> None:
    assert "squatline compare holds builds against each other" in first_page(make_results())
    found = candidates(make_results())
    said = "What to build? 1 of 2 candidates meets every limit: stiffer springs."
    assert said in first_page(with_findings(candidates=found))


def test_limits_are_counted_in_words() -> None:
    results = make_results()
    verdict = [limit.conformance.verdict for limit in results.summary.limits]
    page = written(results, leave_out=HEAVY).text
    assert f"Of {len(verdict)} limits, {verdict.count('pass')} hold" in page
    passed = tuple(limit for limit in results.summary.limits if limit.conformance.verdict == "pass")
    page = written(replace(results, summary=replace(results.summary, limits=passed)), leave_out=HEAVY).text
    assert "Every limit holds as often as was asked." in page


def test_whether_enough_cars_were_drawn_is_said_with_the_verdicts() -> None:
    found = Convergence(("pitch | a",), ("top_speed | a", "top_speed | b"), 217_000)
    reader = written(with_findings(convergence=found), leave_out=HEAVY)
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
    text = written(make_results(), leave_out=HEAVY).text
    assert "Were enough cars drawn?" not in text
    assert "were they enough?" not in text
