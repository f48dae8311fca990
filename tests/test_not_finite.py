"""An endless value is no answer: it counts against the limit wherever limits are held against cars.

The quantity here is endless, on the good side of its limit, for the half of the cars whose first input lies
above its middle; the other half hold the limit with room to spare.  So one car in two conforms, everywhere.
"""

from __future__ import annotations

import base64
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from design_help import OWN, write_known
from statistics_help import within
from study_help import Answer, uncounted

from explorer.analyses.nominal import nominal_values
from explorer.analyses.rare_failures import search_rare_failures
from explorer.design.comparison import compare
from explorer.design.exploration import explore
from explorer.engine.streaming import Bins, Tally
from explorer.estimators.assessment import Requirement, assess
from explorer.estimators.conformance import judge_joint, judge_margins
from explorer.estimators.rare import rare_failure
from explorer.pipeline import run
from explorer.study.study import Study, load_study
from reports import ReportOptions
from reports.report import Report
from reports.whatif import payload

SAMPLES = 4000
HALF = 0.5 / np.sqrt(SAMPLES)
ENDLESS = '''

@quantity("m/s", source="test", capped_by="speed_cap")
def endless(first, second, across, up, speed_cap):
    """Endless above the middle of the first input."""
    return np.where(first > 3.0, {sign}np.inf, {sign}(40.0 + second + across + up))
'''
LIMIT = """
[[limits]]
name = "endless"
quantity = "endless"
condition = "run"
{side} = "{bound} m/s"
probability = 0.9
safety = true
"""
REST = """
[candidates.plain]
[candidates.other]
up = 0.5

[design.up]
low = 0
high = 1

[[maps]]
over = ["across", "up"]
points = 3
limits = ["endless"]

[design.across]
low = 0
high = 1

[[questions]]
vary = "up"
limit = "endless"

[highest_speed]
from = "5 m/s"
to = "20 m/s"
"""


def endless_study(folder: Path, side: str = "at_least", rest: str = REST) -> Study:
    sign, bound = ("", 30) if side == "at_least" else ("-", -30)
    write_known(folder, LIMIT.format(side=side, bound=bound) + rest, samples=SAMPLES)
    own = "import numpy as np\n" + OWN + ENDLESS.format(sign=sign)
    (folder / "own.py").write_text(own, encoding="utf-8")
    return load_study(folder, allow_code=True)


@pytest.mark.parametrize("side", ["at_least", "at_most"])
@pytest.mark.parametrize("design", ["random", "sobol"])
def test_a_run_counts_it_against_the_limit(tmp_path: Path, side: str, design: str) -> None:
    study = replace(endless_study(tmp_path, side), design=design, keep_samples=True)
    summary = run(study).summary
    limit = next(one for one in summary.limits if one.name == "endless")
    found = limit.conformance
    assert within(found.probability, 0.5, HALF)
    assert found.failed == found.trials - found.conforming > 0
    assert found.verdict == "fail"
    assert summary.joint is not None
    assert summary.joint_safety is not None
    assert summary.joint.conforming <= summary.joint_safety.conforming == found.conforming
    (failure,) = [one for one in summary.failures if one.output == "endless"]
    assert failure.count == found.failed
    output = summary.outputs[limit.output]
    assert (output.failed, output.capped) == (found.failed, 0)
    assert limit.sensitivity is not None
    assert limit.sensitivity.left_out > 0


def test_many_looks_do_not_take_it_for_a_pass(tmp_path: Path) -> None:
    study = endless_study(tmp_path)
    found = run(study, samples=40_000, until_decided=True).summary
    assert {one.name: one.conformance.verdict for one in found.limits}["endless"] == "fail"


def test_the_search_for_rare_failures_finds_them(tmp_path: Path) -> None:
    study = endless_study(tmp_path)
    (one,) = search_rare_failures(study, uncounted(study.limits[-1:]))
    assert one.found.probability == pytest.approx(0.5, rel=0.1)


def test_no_build_and_no_speed_conforms(tmp_path: Path) -> None:
    study = endless_study(tmp_path)
    comparison, _ = compare(study)
    for candidate in comparison.candidates:
        judged = candidate.limits[-1]
        assert within(judged.probability, 0.5, HALF)
        assert judged.verdict == "fail"
    assert comparison.recommended is None
    exploration, speeds = explore(study, parts=("speed", "questions", "maps"))
    assert exploration is not None
    assert exploration.answers[0].choose is None
    assert exploration.maps[0].met == 0
    assert speeds is not None
    assert [state.speed for state in speeds.states] == [None]


def test_a_nominal_value_is_none_and_check_says_so(tmp_path: Path, squatline: Callable[..., Answer]) -> None:
    study = endless_study(tmp_path, rest="")
    text = study.path.read_text().replace("mean = 3.0", "mean = 3.1")
    study.path.write_text(text)
    assert nominal_values(load_study(tmp_path, allow_code=True))["run"]["endless"] is None
    answer = squatline("check", tmp_path, "--allow-code")
    assert answer.status == 0
    assert "endless: no answer at the nominal values" in answer.out


def test_the_page_asks_what_if_of_numbers_only(tmp_path: Path) -> None:
    study = replace(endless_study(tmp_path, rest=""), keep_samples=True)
    results = run(study)
    data = payload(Report(results, ReportOptions()))
    assert data is not None
    limit = data["limits"][-1]
    assert limit["values"]["middle"] == limit["low"]
    above = np.frombuffer(base64.b64decode(limit["values"]["packed"]), "<f2")
    assert not np.isinf(above).any()
    held = np.mean(above >= 0)
    assert held == results.summary.limits[-1].conformance.probability


def test_a_number_too_large_for_the_page_stays_one() -> None:
    from reports.whatif import _packed

    packed = _packed(np.array([1e300, -1e300, np.inf, np.nan, 2.0]), 1.0, 0.5)["packed"]
    values = np.frombuffer(base64.b64decode(packed), "<f2")
    assert np.isfinite(values).tolist() == [True, True, False, False, True]
    assert np.isnan(values[2:4]).all()
    assert values[-1] == 2.0


def test_estimators_take_no_endless_margin_for_a_good_one() -> None:
    margins = np.array([np.inf] * 600 + [1.0] * 400)
    judged = judge_margins(margins, 0.9)
    assert (judged.conforming, judged.failed, judged.verdict) == (400, 600, "fail")
    joint = judge_joint(np.stack([margins, np.ones(1000)]), 0.9)
    assert (joint.conforming, joint.failed) == (400, 600)
    assessed = assess(margins[None], [Requirement("a", 0.9, True)], np.empty((0, 1000)))
    assert (assessed.conforming[0], assessed.trials[0], assessed.verdict) == (400, 1000, "fail")
    rare = rare_failure(lambda u: np.where(u[:, 0] > 2.0, np.inf, 3.0 - u[:, 0]), 1, seed=1)
    assert rare.probability == pytest.approx(0.02275, rel=0.2)
    tally = Tally.of(np.array([1.0, 5.0, np.inf]), Bins(0.0, 10.0), cap=4.0)
    assert (tally.failed, tally.capped) == (1, 1)
