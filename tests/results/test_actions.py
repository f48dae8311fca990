"""What is left to do: in one order, from what was found, and the same words everywhere."""

from __future__ import annotations

from dataclasses import replace

from report_analyses import candidates, design, measuring, with_analyses
from report_fixture import make_results

from explorer.estimators.effects import Change
from explorer.results.actions import actions_of
from explorer.results.exploration import VariableRecord
from explorer.results.levers import LeverEffect, LeverRecord, Levers, Rescue
from reports.options import ReportOptions
from reports.report import Report
from reports.sections import actions, decision
from reports.terminal import words

SUMMARY = make_results().summary
WANTING = [limit for limit in SUMMARY.limits if limit.conformance.verdict != "pass"]
FAILING = {limit.name for limit in WANTING if limit.conformance.verdict == "fail"}


def test_what_must_not_be_run_comes_first_and_more_cars_last() -> None:
    found = actions_of(replace(SUMMARY, measuring=measuring()))
    order = ["do not run", "change", "measure", "draw more cars", "too close to call"]
    assert [one.todo for one in found] == sorted([one.todo for one in found], key=order.index)
    assert found[0].todo == "do not run"
    assert set(found[0].limits) == {limit.name for limit in WANTING if limit.safety}


def test_a_share_of_spread_is_no_lever() -> None:
    (change,) = [one for one in actions_of(SUMMARY) if one.todo == "change"]
    assert set(change.unanswered) == FAILING
    said = " ".join(words(line) for line in actions.action_lines(Report(make_results())))
    assert "no change of the design is known" in said
    assert "Start with" not in said
    assert "of the spread" not in said


def test_the_candidate_that_meets_every_limit_is_the_change() -> None:
    results = make_results()
    found = actions_of(replace(SUMMARY, candidates=candidates(results), design=design(results)))
    assert "change" not in [one.todo for one in found]
    (built,) = [one for one in found if one.todo == "build"]
    assert built.candidate == "stiffer springs"


def test_a_value_that_was_asked_for_mends_the_limit_it_was_asked_for() -> None:
    asked = design(make_results())
    name = min(FAILING)
    answer = replace(asked.answers[0], limit=name)
    (change,) = [
        one
        for one in actions_of(replace(SUMMARY, design=replace(asked, answers=(answer,))))
        if one.todo == "change"
    ]
    assert [one.value for one in change.settings] == [answer.choose]
    assert set(change.unanswered) == FAILING - {name}
    broken = replace(answer.others[0], verdict="fail", name="another")
    summary = replace(SUMMARY, design=replace(asked, answers=(replace(answer, others=(broken,)),)))
    said = " ".join(map(words, actions.action_lines(Report(replace(make_results(), summary=summary)))))
    assert "then passes, but “another” does not" in said
    # What no value in the range meets is no way out.
    hopeless = replace(answer, choose=None)
    (change,) = [
        one
        for one in actions_of(replace(SUMMARY, design=replace(asked, answers=(hopeless,))))
        if one.todo == "change"
    ]
    assert change.settings == ()


def test_other_levers_that_would_do_stand_beside_the_best() -> None:
    """Of three levers the nearest is advised; one that costs a safety limit is never named."""
    name, safe = min(FAILING), next(limit.name for limit in SUMMARY.limits if limit.safety)

    def lever(words: str, value: float, *breaks: str) -> LeverRecord:
        variable = VariableRecord(words, words, 0.0, 1.0, 0.01, 0.5, "m", "mm", "kept")
        rescue = Rescue(value, 0.99, 0.98, 1.0, (), breaks)
        return LeverRecord(variable, 0.01, (LeverEffect(name, Change(1.0, 0.9, 1.1), True, rescue),))

    tried = (lever("wing height", 0.8), lever("wing station", 0.6), lever("wing area", 0.51, safe))
    summary = replace(SUMMARY, levers=Levers(tried, 2000, 256, (), 4096))
    (change,) = [one for one in actions_of(summary) if one.todo == "change"]
    (setting,) = change.settings
    assert (setting.variable.name, [one.name for one, _ in setting.instead]) == (
        "wing station",
        ["wing height"],
    )
    said = " ".join(
        words(line) for line in actions.action_lines(Report(replace(make_results(), summary=summary)))
    )
    assert "Or instead: wing height to 800" in said
    assert "wing area" not in said


def test_page_one_the_section_and_the_terminal_have_the_same_list() -> None:
    report = Report(with_analyses(), ReportOptions())
    todo = actions.action_lines(report)
    assert decision.in_short(report)[-1].items == tuple(todo)
    (block,) = actions.build(report).blocks
    assert block.items == tuple(todo)
    (asked,) = [
        answer
        for part in decision.build(report).blocks
        for answer in getattr(part, "items", ())
        if getattr(answer, "question", "").startswith("What next?")
    ]
    assert asked.why == tuple(actions.action_lines(report, short=True)[:3])
    assert len(asked.why) == min(3, len(todo))


def test_a_plan_that_found_nothing_to_measure_is_told_in_words() -> None:
    """No step names a limit: the sentence of the plan stands, and the list goes on."""
    summary = replace(SUMMARY, measuring=replace(measuring(), steps=()))
    todo = [one.todo for one in actions_of(summary)]
    lines = actions.action_lines(Report(replace(make_results(), summary=summary)))
    assert "measure" in todo
    assert len(lines) >= len(todo)


def test_what_no_measurement_can_change_is_told_once() -> None:
    plan = measuring()
    lost = replace(plan.outlooks[0], planned=plan.outlooks[0].now, best=plan.outlooks[0].now, everything=0.0)
    assert lost.fails_clearly
    summary = replace(SUMMARY, measuring=replace(plan, steps=(), worths=(), outlooks=(lost,)))
    assert "measure" not in [one.todo for one in actions_of(summary)]


def test_missing_answers_name_what_gave_up_how_often_and_the_command_that_tells_more() -> None:
    (record,) = SUMMARY.failures
    many = tuple(
        replace(record, quantity=name, meaning=why, count=count)
        for name, why, count in (("top_speed", "no speed", 3), ("pitch", "no attitude", 7), ("torque", "", 1))
    )
    report = Report(replace(make_results(), summary=replace(SUMMARY, failures=(*many, many[0]))))
    (line,) = [words(one) for one in actions.action_lines(report) if "Find out why" in words(one)]
    assert "Find out why 14 answers were missing" in line
    assert "What gave up first: pitch (no attitude), 7 times; top speed (no speed), 6 times" in line
    assert "and 1 further cause" in line
    assert "squatline explain pitch --study STUDY" in line
    assert "squatline check STUDY" in line
    (short,) = [one for one in actions.action_lines(report, short=True) if "Find out why" in words(one)]
    assert "gave up" not in words(short)


def test_nobody_is_told_to_relax_a_limit_for_safety() -> None:
    for safety in (True, False):
        limits = [replace(limit, safety=safety) for limit in SUMMARY.limits]
        results = replace(make_results(), summary=replace(SUMMARY, limits=limits))
        said = " ".join(words(line) for line in actions.action_lines(Report(results)))
        assert "no change of the design is known" in said
        assert ("relax the requirement" in said) is not safety


def test_page_one_says_where_one_change_mends_all_that_fails() -> None:
    wing = VariableRecord("wing", "wing height", 0.0, 1.0, 0.01, 0.5, "m", "mm", "kept")
    setting = actions.Setting(wing, 0.04, "", ("one", "other"), ())
    assert "all that fail then pass" in words(actions.setting_words(setting, failing=("one", "other")))
    said = words(actions.setting_words(setting, failing=("one", "other", "third")))
    assert ": 2 limits then pass" in said


def test_page_one_names_the_limit_for_safety_that_nothing_mends() -> None:
    change = next(one for one in actions_of(SUMMARY) if one.todo == "change")
    wing = VariableRecord("wing", "wing height", 0.0, 1.0, 0.01, 0.5, "m", "mm", "kept")
    some = replace(change, settings=(actions.Setting(wing, 0.04, "", ("one",), ()),))
    for safety in (True, False):
        limits = tuple(replace(limit, safety=safety) for limit in SUMMARY.limits)
        report = Report(replace(make_results(), summary=replace(SUMMARY, limits=limits)))
        said = words(actions._words(report, some, short=True))
        assert "is known" in said
        assert ("(safety) no change" in said) is safety
        assert ("with these changes alone the car may not be run" in said) is safety
        assert "these changes" not in words(actions._words(report, change, short=True))
