"""Limits that ask ``sure``: drawn as cars and days on the study's own graph, and said in both words."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr, ndtri
from study_help import SMALL

from explorer.analyses.live_verdicts import live_verdicts
from explorer.analyses.nominal import nominal_values
from explorer.analyses.taken_for_granted import taken_for_granted
from explorer.analyses.two_levels import all_cars, ignorance_or_day, sure_cars, sureness_of
from explorer.console.terminal import summary_as_data
from explorer.design.comparison import compare
from explorer.design.exploration import explore
from explorer.desk.rows import rows
from explorer.engine.execution import Execution
from explorer.errors import SquatlineError
from explorer.graph.written import percent
from explorer.pipeline import run
from explorer.study.study import Study, load_study
from reports.blocks import Figure
from reports.findings import in_both_words, met_words, of_100
from reports.formatting import share
from reports.report import Report
from reports.sections import candidates, decision, design, reproduction, sensitivity, verdicts
from reports.sections.decision import in_short
from reports.whatif import payload

MODEL = """
[model_errors]
front_static_load = {{ offset = {{ mean = "0 N", sd = "{day} N", varies = true }}, source = "test" }}
"""


def sure_study(
    folder: Path, day: float = 0.3, more: str = "", sure: str = "sure = 0.9", asked: float = 0.9
) -> Study:
    """Load a study whose load differs from run to run by a normal offset."""
    folder.mkdir(exist_ok=True)
    text = SMALL.format(inputs="", conditions="", limits=more).replace(
        "probability = 0.5", f"probability = {asked}\n{sure}"
    )
    (folder / "study.toml").write_text(text + MODEL.format(day=day), encoding="utf-8")
    return load_study(folder)


def test_margin_of_car_and_day_has_the_closed_answer(tmp_path: Path) -> None:
    study = sure_study(tmp_path)
    found = sureness_of(study, sure_cars(study))["front load"]
    g, m, s_m, left, s_left = 9.80665, 5.0, 0.1, 1 - 190 / 360, 5 / 360
    car = g * math.sqrt((m * s_left) ** 2 + (left * s_m) ** 2 + (s_m * s_left) ** 2)
    true = float(ndtr((g * m * left - 23 - 0.3 * ndtri(0.9)) / car))
    assert found.low <= true <= found.high
    assert found.ignorance == pytest.approx(car**2 / (car**2 + 0.3**2), abs=0.05)


def test_cars_and_days_follow_what_is_asked(tmp_path: Path) -> None:
    """Of 0.99 not even 256 days without a miss are proof, and of 99.9 % sure not even 1024 cars."""
    usual, strict = sure_study(tmp_path), sure_study(tmp_path, sure="sure = 0.999")
    often = sure_study(tmp_path, asked=0.99)
    assert [all_cars(one) for one in (usual, strict, often)] == [(1024, 256), (4096, 256), (1024, 512)]
    assert not any(map(cautioned, (usual, strict, often)))
    path = often.path
    text = path.read_text(encoding="utf-8")
    for said, remedy in (("days = 256", "days = 512"), ("cars = 64\ndays = 1024", "cars = 128")):
        few = text.replace("samples = 4000", f"samples = 4000\n{said}").replace("sure = 0.9", "sure = 0.96")
        path.write_text(few, encoding="utf-8")
        (caution,) = cautioned(load_study(tmp_path))
        assert f"write {remedy} under [study]" in caution


def cautioned(study: Study) -> list[str]:
    return [str(one) for one in taken_for_granted(study, nominal_values(study)) if "cannot pass" in str(one)]


BUILDS = """
[candidates.as_it_is]
[candidates.back]
cg_station = "180 mm"
[design.cg_station]
low = "170 mm"
high = "195 mm"
[search]
points = 8
samples = 400
verify = 2000
[[objectives]]
quantity = "front_static_load"
condition = "rest"
"""


@pytest.mark.long
def test_candidates_and_the_best_build_are_told_in_both_words(tmp_path: Path) -> None:
    study = sure_study(tmp_path, more=BUILDS)
    found = run(study, samples=500)
    summary = replace(
        found.summary, candidates=compare(study, samples=2000)[0], design=explore(study, parts=["search"])[0]
    )
    report = Report(replace(found, summary=summary))
    assert summary.candidates is not None
    assert summary.design is not None
    assert summary.design.search is not None
    assert summary.design.search.optimum is not None
    for section, sure in (
        (candidates, [one.sureness["front load"] for one in summary.candidates.candidates]),
        (design, [summary.design.search.optimum.sureness["front load"]]),
    ):
        text = str(section.build(report))
        for one in sure:
            assert in_both_words(one) in text.replace("\\xa0", "\xa0")
            assert share(one.often_enough, one.low, one.high) in text.replace("\\xa0", "\xa0")
    assert "sure required" in str(candidates.build(report))


@pytest.mark.parametrize(
    ("share_of_runs", "said"), [(1.0, "100"), (0.99999, "99.9"), (0.998, "99.8"), (0.87, "87"), (0.0, "0")]
)
def test_runs_are_all_of_them_only_where_none_fails(share_of_runs: float, said: str) -> None:
    assert of_100(share_of_runs) == said


def test_numbers_hang_on_no_worker(tmp_path: Path) -> None:
    study = sure_study(tmp_path)
    assert sureness_of(study, sure_cars(study)) == sureness_of(
        study, sure_cars(study, execution=Execution(workers=3))
    )


@pytest.mark.long
def test_without_sure_nothing_is_drawn_and_the_run_is_as_it_was(tmp_path: Path) -> None:
    plain = sure_study(tmp_path / "plain", sure="")
    assert sure_cars(plain) is None
    assert sureness_of(plain, None) == {}
    before, after = (run(one, samples=500) for one in (plain, sure_study(tmp_path / "sure")))
    assert before.samples is not None
    assert after.samples is not None
    assert np.array_equal(before.samples.to_numpy(), after.samples.to_numpy())
    assert before.summary.limits[0].sureness is None
    assert before.summary.limits[0].conformance.probability == after.summary.limits[0].conformance.probability


def test_page_one_draws_the_cars_of_a_limit_that_asks_how_sure(tmp_path: Path) -> None:
    study = sure_study(tmp_path)
    report = Report(run(study, samples=500))
    limit = report.summary.limits[0]
    found, row = limit.sureness, decision._row(report, limit)
    assert found is not None
    said = f"{share(found.often_enough, found.low, found.high)} sure, {percent(found.sure)} required"
    assert row.words == said
    cars = sure_cars(study)
    assert cars is not None
    (of,) = cars.found
    expected = np.quantile(of.kept, [0.05, 0.5, 0.95, 1 - found.sure]) / limit.conformance.margin.sd
    assert [row.low, row.median, row.high, row.decisive] == pytest.approx(expected, abs=0.15)
    # The heavy bar lies on the side that was counted, whatever is read between three cars.
    for often in (0.0, 1.0):
        counted = replace(limit, sureness=replace(found, at_least=often))
        decisive = decision._row(report, counted).decisive
        assert decisive is not None
        assert (decisive >= 0) is (often == 1.0)


def test_verdict_and_words_are_those_of_both_kinds(tmp_path: Path) -> None:
    found = run(sure_study(tmp_path), samples=500)
    limit = found.summary.limits[0]
    assert limit.sureness is not None
    assert limit.conformance.verdict == limit.sureness.verdict
    text = str(verdicts.build(Report(found))).replace("\\xa0", " ")
    assert f"met in {100 * limit.sureness.average:.0f} of 100 runs (90 % sure: in at least" in text
    assert "Mostly what is not known of the car decides" in text
    assert "Poor car" in text
    (figure,) = [one for one in verdicts.build(Report(found)).blocks if isinstance(one, Figure)]
    assert f"90 % of cars meet it in at least {100 * limit.sureness.at_least:.0f} of 100 runs" in str(
        (figure.caption, figure.alternative)
    ).replace("\\xa0", " ").replace("\\u202f", " ")
    assert figure.numbers is not None
    assert "runs with less room" in str(figure.charts[0])
    both = in_both_words(limit.sureness)
    for said in (met_words(limit), in_short(Report(found))):
        assert both in str(said).replace("\\xa0", "\xa0")
    data = summary_as_data(found, tmp_path, ())["limits"][0]["sureness"]
    assert data["words"] == f"met in {both}"
    assert data["low"] <= data["often_enough"] <= data["high"]


def test_every_limit_is_told_whether_ignorance_or_the_day_decides(tmp_path: Path) -> None:
    """The car's part has a variance of 0.678 N2, the day's 1 N2."""
    found = run(sure_study(tmp_path, day=1.0, sure=""), samples=2000)
    apart = found.summary.limits[0].between_cars
    assert apart is not None
    assert apart.margin is not None
    assert apart.margin.low <= 0.678 / 1.678 <= apart.margin.high
    text = str([one.build(Report(found)) for one in (verdicts, reproduction)]).replace("\\xa0", " ")
    assert "mostly the day decides" in text
    assert "which can be read before the run and given as [today]" in text
    assert "Leads what could be learnt" in text
    words = str(sensitivity.build(Report(found)))
    assert (
        "Of what could be learnt the centre of gravity station leads; of what differs from run to run"
        in words
    )


def test_nothing_varies_nothing_is_told(small_study: Callable[..., Path]) -> None:
    assert ignorance_or_day(load_study(small_study())) == {}


def test_desk_says_both_words_after_its_first_look(tmp_path: Path) -> None:
    study = sure_study(tmp_path)
    first, second, *_ = live_verdicts(study, first=1000, most=3000)
    assert [rows(study, one, {}, {}, 0)[0].verdict for one in (first, second)] == ["undecided", "fail"]
    row = rows(study, second, {}, {}, 0)[0]
    assert "of 100 runs (90" in row.surely
    assert rows(study, first, {}, {}, 0)[0].surely == ""
    assert "sure" in row.asked


@pytest.mark.long
def test_what_if_shows_no_verdict_of_an_average(tmp_path: Path) -> None:
    """The page has the words of the run for a limit that asks sure, and none for any other."""
    for sure, there in (("sure = 0.9", True), ("", False)):
        data = payload(Report(run(sure_study(tmp_path / str(there), sure=sure), samples=1000)))
        assert data is not None
        assert (data["limits"][0]["surely"] is not None) is there


def test_what_varies_goes_with_nothing_of_the_car(tmp_path: Path) -> None:
    pair = '[[correlations]]\nbetween = ["mass", "front_static_load_model_offset"]\nvalue = 0.5'
    with pytest.raises(SquatlineError, match="varies from run to run"):
        run(sure_study(tmp_path, more=pair), samples=500)


def test_measuring_is_weighed_by_the_cars_and_not_the_days(tmp_path: Path) -> None:
    """Mass moves the load by 0.463 N, its place by 0.681 N, the day by 1 N: of cars a scale tells 0.32."""
    measure = '[measurements.scale]\nlabel = "mass"\nreads = { mass = { noise = "1 g" } }\nhours = 1\n'
    sure, plain = (
        run(sure_study(tmp_path / word, day=1.0, more=measure, sure=word), samples=4000).summary.measuring
        for word in ("sure = 0.9", "")
    )
    assert sure is not None
    assert plain is not None
    (of_cars,), (of_runs,) = sure.worths, plain.worths
    told = [one.variance_removed.value / one.before.variance.value for one in (of_cars, of_runs)]
    assert told == pytest.approx([0.463**2 / (0.463**2 + 0.681**2), 0.463**2 / 1.678], abs=0.06)
    assert sure.outlooks[0].required == 0.9
