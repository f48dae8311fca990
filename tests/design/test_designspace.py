"""Design space: lines and roots against closed forms, a known region and optimum, and what is refused."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from design_help import write_known
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri
from statistics_help import within
from study_help import Answer

from explorer.design.evaluator import set_up
from explorer.design.exploration import explore, prepare
from explorer.design.maps import prepare_map, run_map
from explorer.design.objectives import read_objectives
from explorer.design.search import run_search
from explorer.design.variables import read_variables
from explorer.engine.execution import Execution
from explorer.errors import SquatlineError
from explorer.estimators.assessment import (
    LIKELY,
    POSSIBLE,
    SURE,
    Assessment,
    Requirement,
    assess,
    turning_counts,
)
from explorer.estimators.conformance import judge_joint, judge_margins
from explorer.estimators.design_space import contour, nondominated, spans, stretches
from explorer.estimators.optimum import NO_SCORE, Found, Standing, best_point, guarded
from explorer.estimators.ranges import Range
from explorer.graph.written import chance
from explorer.study.builds import AS_IT_STANDS
from explorer.study.study import Study, load_study
from reports.sections.design import map_headline, search_headline
from reports.terminal import words

DESIGN = """
[design.across]
low = 0
high = 3
[design.up]
low = 0
high = 3
"""
OBJECTIVE = """
[[objectives]]
name = "gain"
quantity = "gain"
condition = "run"
"""
ACROSS, UP = 3.0 - ndtri(0.95) * 0.2, 2.5 - ndtri(0.9) * 0.3
"""What across + up / 2, and 0.3 across + up, may reach at most."""


def known(folder: Path, rest: str, **changes: object) -> Study:
    return load_study(write_known(folder, rest, **changes), allow_code=True)  # type: ignore[arg-type]


def quantile_error(probability: float, sd: float, samples: int) -> float:
    """Return the standard error of a quantile of a normal distribution."""
    density = math.exp(-(float(ndtri(probability)) ** 2) / 2) / math.sqrt(2 * math.pi)
    return sd * math.sqrt(probability * (1 - probability) / samples) / density


# --- pure estimators --------------------------------------------------------------------------------------


def test_the_contour_of_a_cone_is_a_circle() -> None:
    x = y = np.linspace(-2, 2, 80)
    surface = 1 - np.hypot(*np.meshgrid(x, y))
    pieces = contour(x.tolist(), y.tolist(), surface)
    ends = np.array(pieces).reshape(-1, 2)
    np.testing.assert_allclose(np.hypot(ends[:, 0], ends[:, 1]), 1, atol=1e-3)
    length = sum(math.hypot(x2 - x1, y2 - y1) for x1, y1, x2, y2 in pieces)
    assert length == pytest.approx(2 * math.pi, rel=2e-3)
    # Every end is shared by two pieces: the line is closed.
    _, counts = np.unique(np.round(ends, 12), axis=0, return_counts=True)
    assert set(counts) == {2}


def test_a_plane_is_cut_exactly_and_no_answer_holds_nothing() -> None:
    x, y = [0.0, 1.0, 3.0], [0.0, 2.0]
    surface = np.array([[1.0, 0.5, -0.5], [1.0, 0.5, -0.5]])
    assert contour(x, y, surface) == ((2.0, 0.0, 2.0, 2.0),)
    surface[:, 2] = -np.inf
    assert contour(x, y, surface) == ((1.0, 0.0, 1.0, 2.0),)
    assert contour(x, y, np.ones((2, 3))) == ()


@pytest.mark.parametrize(("middle", "joined"), [(0.5, True), (-0.5, False)])
def test_a_saddle_is_joined_by_its_middle(middle: float, joined: bool) -> None:
    surface = np.array([[1.0 + middle, -1.0 + middle], [-1.0 + middle, 1.0 + middle]])
    pieces = contour([0.0, 1.0], [0.0, 1.0], surface)
    # Joined: each piece cuts off a corner that fails, (1, 0) or (0, 1); apart: one that holds.
    cut = {(round((x1 + x2) / 2), round((y1 + y2) / 2)) for x1, y1, x2, y2 in pieces}
    assert cut == ({(1, 0), (0, 1)} if joined else {(0, 0), (1, 1)})


def test_what_cannot_be_bettered() -> None:
    scores = np.array([[1.0, 5.0], [2.0, 4.0], [2.0, 4.0], [1.5, 4.0], [0.0, 9.0], [np.nan, 99.0]])
    assert nondominated(scores).tolist() == [True, True, True, False, True, False]
    assert nondominated(np.empty((0, 2))).size == 0


def test_stretches_end_at_the_roots() -> None:
    # Holds between the roots 2 and 5 of a parabola; doubt moves it down and up.
    def surplus(value: float) -> np.ndarray:
        height = -(value - 2) * (value - 5)
        return np.array([height - 0.5, height, height + 0.5])

    (found,) = stretches(surplus, np.linspace(0, 10, 21).tolist())
    half, wide = math.sqrt(2.25 - 0.5), math.sqrt(2.25 + 0.5)
    for edge, truth in ((found.low, 2.0), (found.high, 5.0)):
        assert edge.value == pytest.approx(truth, abs=2e-4)
        assert not edge.at_end
    assert found.low.sure == pytest.approx(3.5 - half, abs=2e-4)
    assert found.high.sure == pytest.approx(3.5 + half, abs=2e-4)
    assert found.low.possible == pytest.approx(3.5 - wide, abs=2e-4)
    assert found.high.possible == pytest.approx(3.5 + wide, abs=2e-4)


def test_stretches_at_the_ends_without_doubt_and_without_answer() -> None:
    whole = stretches(lambda v: np.array([-1.0, 1.0, 1.0]), [0.0, 1.0, 2.0])
    assert whole[0].low.at_end
    assert whole[0].high.at_end
    assert whole[0].low.sure is None
    assert stretches(lambda v: np.full(3, -1.0), [0.0, 1.0]) == ()

    def broken(value: float) -> float:
        return 1.0 if value <= 1.234 else -math.inf

    ((low, high),) = spans(broken, [0.0, 1.0, 2.0, 3.0])
    assert (low, high) == (0.0, pytest.approx(1.234, abs=2e-4))


@settings(deadline=None, max_examples=80)
@given(
    st.integers(20, 400),
    st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99]),
    st.floats(-0.5, 3),
    st.integers(0, 10**6),
)
def test_the_surplus_says_what_the_verdict_says(samples: int, required: float, mean: float, key: int) -> None:
    generator = np.random.Generator(np.random.Philox(key))
    margins = mean + generator.standard_normal((2, samples))
    margins[generator.random((2, samples)) < 0.01] = np.nan
    found = assess(margins, [Requirement("a", required, True)] * 2, np.empty((0, samples)))
    for k, margin in enumerate(margins):
        judged = judge_margins(margin, required)
        assert found.verdict_of(k) == judged.verdict
        assert found.conforming[k] == judged.conforming
        assert (found.surplus[LIKELY, k] >= 0) == (judged.conforming >= math.ceil(required * samples - 1e-9))
        assert found.surplus[SURE, k] <= found.surplus[LIKELY, k] <= found.surplus[POSSIBLE, k]
    assert found.conforming[-2] == judge_joint(margins, required).conforming


def test_an_assessment_survives_packing() -> None:
    generator = np.random.Generator(np.random.Philox(3))
    objectives = generator.standard_normal((2, 500))
    objectives[1, :100] = np.nan
    requirements = [
        Requirement("a", 0.9, True),
        Requirement("b", 0.5, False),
        Requirement("c", 0.9999, False),
    ]
    one = assess(generator.standard_normal((3, 500)), requirements, objectives)
    other = Assessment.unpacked(one.packed())
    for name in (
        "conforming",
        "surplus",
        "spread",
        "objectives",
        "objective_errors",
    ):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    # Too few samples to show 0.9999 beyond doubt; too many without an answer to give a mean.
    assert one.surplus[SURE, 2] == -np.inf
    assert np.isnan(one.objectives[1])
    assert turning_counts(500, 0.9999)[0] is None


def test_the_optimiser_finds_a_known_corner() -> None:
    # Highest x + 2 y inside the unit circle below y = 0.6: the corner (0.8, 0.6).
    def standing(point: tuple[float, ...]) -> Standing:
        x, y = point
        return Standing(x + 2 * y, np.array([1 - x**2 - y**2, 0.6 - y]))

    free = best_point(standing, [Range(0, 2), Range(0, 2)], [(0.1, 0.1), (1.5, 0.2)], 1.0)
    assert free.standing.feasible
    assert free.point == pytest.approx((0.8, 0.6), abs=5e-3)
    # In steps of 0.3 the corner cannot be had: of what can, (0.6, 0.6) is the best.
    steps = [Range(0, 1.5, 0.3), Range(0, 1.5, 0.3)]
    assert best_point(standing, steps, [(0.3, 0.0)], 1.0).point == pytest.approx((0.6, 0.3 * 2))


def test_an_impossible_search_returns_the_nearest() -> None:
    found = best_point(
        lambda p: Standing(p[0], np.array([-1 - (p[0] - 0.7) ** 2])), [Range(0, 2)], [(0.1,)], 1.0
    )
    assert not found.standing.feasible
    assert found.point[0] == pytest.approx(0.7, abs=0.05)
    unanswered = best_point(lambda p: Standing(NO_SCORE, np.array([1.0])), [Range(0, 2)], [(0.1,)], 1.0)
    assert not unanswered.standing.feasible


def test_steps_are_counted_from_the_low_end() -> None:
    stepped = Range(0.1, 0.7, 0.1)
    assert len(stepped.stepped()) == 7
    assert stepped.near(0.34) == pytest.approx((0.3, 0.4))
    assert stepped.near(0.1 + 0.2) == pytest.approx((0.3,))
    assert stepped.nearest(5.0) == pytest.approx(0.7)
    assert stepped.moved(0.3, 1) == pytest.approx(0.4)
    assert stepped.moved(0.7, 1) is None
    assert Range(0, 1).moved(0.5, 1) is None


def test_reserve_grows_with_doubt_and_stays_below_certainty() -> None:
    assert guarded(0.95, 10**9, 10**9, 3) == pytest.approx(0.95, abs=1e-4)
    assert 0.95 < guarded(0.95, 10_000, 10**9, 3) < guarded(0.95, 1000, 10**9, 3)
    assert guarded(0.999, 100, 100, 3) == pytest.approx(0.9995)
    assert guarded(0.9, 100, 100, 0) == 0.9


# --- a problem with known answers -------------------------------------------------------------------------


def test_one_program_serves_all_points_and_moves_only_what_is_chosen(tmp_path: Path) -> None:
    rest = (
        '[design.first]\nlow = 1\nhigh = 5\n[design.second]\nlow = 1\nhigh = 5\nspread = "scaled"\n'
        + OBJECTIVE
    )
    study = known(tmp_path, rest)
    variables = read_variables(study)
    bench = set_up(study, variables, samples=2000, objectives=read_objectives(study))
    before, _ = bench.tried((3.0, 2.5))
    after, objectives = bench.tried((4.0, 5.0))
    # Kept: every sample moves by the same amount; scaled: in proportion.
    np.testing.assert_allclose(after[0] - before[0], 1.0, atol=1e-12)
    np.testing.assert_allclose(after[1] / before[1], 2.0, rtol=1e-12)
    np.testing.assert_allclose(objectives[0], after[0] - 3, atol=1e-12)
    again, _ = bench.tried((3.0, 2.5))
    np.testing.assert_array_equal(before, again)
    other, _ = replace(bench, draw=1).tried((3.0, 2.5))
    assert not np.array_equal(before, other)
    # Side by side in several evaluations, or in pieces of one: the same to the last bit.
    points = [(3.0 + place / 7, 2.5) for place in range(9)]
    for samples in (2000, 20_000):
        many = replace(bench, samples=samples)
        expected = [many.tried(point)[0] for point in points]
        np.testing.assert_array_equal(many.margins_at(points), expected)


def test_points_that_share_samples_with_the_main_run(tmp_path: Path) -> None:
    study = known(tmp_path, DESIGN)
    bench = set_up(study, read_variables(study), samples=1000)
    margins, _ = bench.tried((0.0, 0.0))
    main = set_up(study, (), samples=1000).tried(())[0]
    np.testing.assert_array_equal(margins, main)


def test_the_map_shows_the_known_region(tmp_path: Path) -> None:
    samples = 8000
    rest = DESIGN + f'[[maps]]\nover = ["across", "up"]\npoints = 13\nsamples = {samples}\n'
    study = known(tmp_path, rest)
    prepared = prepare_map(study, AS_IT_STANDS, 0)
    found = run_map(prepared, Execution(workers=2))
    assert found.values[0] == pytest.approx(np.linspace(0, 3, 13))
    errors = 4 * quantile_error(0.95, 0.2, samples), 4 * quantile_error(0.9, 0.3, samples)
    corner = np.linalg.solve([[1, 0.5], [0.3, 1]], [ACROSS, UP])
    for pieces, sides in ((found.boundary, (0, 1)), (found.limits[0].boundary, (0,))):
        assert pieces
        for x1, y1, x2, y2 in pieces:
            for x, y in ((x1, y1), (x2, y2)):
                on = [abs(x + 0.5 * y - ACROSS) <= errors[0], abs(0.3 * x + y - UP) <= errors[1]]
                # Where the two lines meet, a piece cuts the corner of one cell.
                cut = sides == (0, 1) and math.hypot(x - corner[0], y - corner[1]) < 0.25
                assert cut or any(on[k] for k in sides)
    for r, y in enumerate(found.values[1]):
        for c, x in enumerate(found.values[0]):
            room = min((ACROSS - x - 0.5 * y) / errors[0], (UP - 0.3 * x - y) / errors[1])
            assert found.verdict[r][c] == "pass" or room < 1
            assert found.verdict[r][c] == "fail" or room > -1
    assert found.met == np.mean([verdict == "pass" for row in found.verdict for verdict in row])
    said = words(map_headline(found, frozenset({"across", "up"})))
    assert f"every limit is met on {chance(found.met)} of the map" in said


def test_a_map_over_one_variable_gives_the_stretch(tmp_path: Path) -> None:
    samples = 8000
    rest = DESIGN + f'[[maps]]\nover = ["across"]\nsamples = {samples}\nlimits = ["across"]\n'
    study = known(tmp_path, rest)
    prepared = prepare_map(study, AS_IT_STANDS, 0)
    found = run_map(prepared, Execution(workers=1))
    (stretch,) = found.stretches
    assert stretch.low.at_end
    assert within(stretch.high.value, ACROSS, quantile_error(0.95, 0.2, samples))
    assert stretch.high.sure is not None
    assert stretch.high.sure < stretch.high.value < stretch.high.possible
    said = words(map_headline(found, frozenset({"across", "up"})))
    assert f"“across” is met from 0 to {stretch.high.value:.3g}" in said
    assert len(found.verdict) == 1


def test_the_optimum_is_the_known_corner_and_stands_the_check(tmp_path: Path) -> None:
    rest = DESIGN + OBJECTIVE + "[search]\npoints = 32\nsamples = 8000\nverify = 40000\n"
    study = known(tmp_path, rest)
    found = run_search(
        study, AS_IT_STANDS, read_variables(study), read_objectives(study), Execution(workers=2)
    )
    assert found.optimum is not None
    # The corner of the limits as the search holds them, with three standard errors in reserve.
    sides = [guarded(p, 8000, 40_000, 3.0) for p in (0.95, 0.9)]
    right = np.array([3.0 - ndtri(sides[0]) * 0.2, 2.5 - ndtri(sides[1]) * 0.3])
    corner = np.linalg.solve(np.array([[1, 0.5], [0.3, 1]]), right)
    errors = np.array([quantile_error(sides[0], 0.2, 8000), quantile_error(sides[1], 0.3, 8000)])
    assert found.optimum.reserve == 3.0
    assert np.abs(np.array(found.optimum.values) - corner).max() < 4 * errors.sum() + 0.01
    best = 2 * corner[0] + 1.5 * corner[1]
    mean, error = found.optimum.objectives[0], found.optimum.objective_errors[0]
    assert mean is not None
    assert error is not None
    assert error == pytest.approx(0.2 / np.sqrt(40_000), rel=0.03)
    assert abs(mean - best) < 4 * (error + 2 * errors[0] + 1.5 * errors[1]) + 0.02
    assert found.optimum.verdict == "pass"
    assert found.optimum.at_end == ()
    assert set(found.optimum.held_back_by) == {"across", "up"}
    assert all(one.trials == 40_000 for one in found.optimum.limits)
    front = [point for point in found.points if point.on_front]
    assert len(front) == 1
    assert "every limit passes on fresh samples" in words(search_headline(found))
    # One that does not stand the check is recommended to nobody.
    judged = (found.optimum.limits[0], replace(found.optimum.limits[1], verdict="fail"))
    fallen = replace(found, optimum=replace(found.optimum, limits=judged, verdict="fail"))
    said = words(search_headline(fallen))
    assert said.startswith("No build is recommended. The best tried for ")
    assert said.endswith(f"but “{found.limits[1]}” fails on fresh samples.")


def test_in_steps_the_optimum_is_the_best_that_can_be_had(tmp_path: Path) -> None:
    design = DESIGN.replace("high = 3", "high = 3\nstep = 0.3")
    rest = design + OBJECTIVE + "[search]\npoints = 16\nsamples = 8000\nverify = 20000\nstarts = 2\n"
    study = known(tmp_path, rest)
    found = run_search(
        study, AS_IT_STANDS, read_variables(study), read_objectives(study), Execution(workers=1)
    )
    grid = [(0.3 * i, 0.3 * j) for i in range(11) for j in range(11)]
    room = 0.03  # no point of the grid lies so near to a limit that its samples could tell otherwise
    assert not [p for p in grid if -room < ACROSS - room - p[0] - 0.5 * p[1] < room / 2]
    allowed = [p for p in grid if p[0] + 0.5 * p[1] <= ACROSS - room and 0.3 * p[0] + p[1] <= UP - room]
    best = max(allowed, key=lambda p: 2 * p[0] + 1.5 * p[1])
    assert found.optimum is not None
    assert found.optimum.values == pytest.approx(best)
    for point in found.points:
        assert point.values == pytest.approx([0.3 * round(value / 0.3) for value in point.values])


def test_two_objectives_trade_and_idle_variables_are_named(tmp_path: Path) -> None:
    rest = DESIGN + "[design.idle]\nlow = 0\nhigh = 1\n" + OBJECTIVE + '[[objectives]]\nlimit = "up"\n'
    study = known(tmp_path, rest + "[search]\npoints = 16\nsamples = 2000\nverify = 2000\nstarts = 1\n")
    exploration, _ = explore(study, parts=["search"])
    assert exploration is not None
    assert exploration.search is not None
    found = exploration.search
    assert [variable.name for variable in found.variables] == ["across", "up"]
    assert found.notes == ("no limit and no objective depends on idle: it was left out of the search",)
    front = sorted(
        (p.objectives for p in found.points if p.on_front), key=lambda objectives: objectives[0] or 0
    )
    assert len(front) >= 3
    surest = [objectives[1] for objectives in front]
    assert surest == sorted(surest, reverse=True)
    assert all(point.meets for point in found.points if point.on_front)


def test_when_nothing_meets_the_limits_the_nearest_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    searches: list[object] = []

    def counted(*asked: Any) -> Found:
        searches.append(asked)
        return best_point(*asked)

    monkeypatch.setattr("explorer.design.search.best_point", counted)
    design = DESIGN.replace("low = 0", "low = 2.9")
    study = known(
        tmp_path, design + OBJECTIVE + "[search]\npoints = 8\nsamples = 1000\nverify = 1000\nstarts = 1\n"
    )
    exploration, _ = explore(study, parts=["search"])
    assert exploration is not None
    assert exploration.search is not None
    found = exploration.search
    assert found.optimum is None
    assert found.nearest is not None
    # The ranges start beyond both limits; their low ends come nearest.
    assert found.nearest.values == pytest.approx((2.9, 2.9), abs=0.15)
    assert set(found.nearest_fails) == {"across", "up"}
    assert "No build in the ranges meets every limit" in words(search_headline(found))
    # What cannot be had without a reserve is not sought with one.
    assert len(searches) == 1


# --- what is refused --------------------------------------------------------------------------------------

WRONG = {
    "empty range": (DESIGN.replace("high = 3", "high = 0", 1), ["design.across", "range", "empty"]),
    "step too wide": (DESIGN + "step = 4\n", ["design.up.step", "no step fits"]),
    "unknown variable": ("[design.acros]\nlow = 0\nhigh = 1\n", ["design.acros", "did you mean 'across'?"]),
    "impossible range": (
        '[design.mass]\nlow = "-1 kg"\nhigh = "2 kg"\n',
        ["design.mass", "-1 kg", "above 0 kg"],
    ),
    "set by every condition": (
        '[design.speed]\nlow = "1 m/s"\nhigh = "9 m/s"\n',
        ["design.speed", "every condition"],
    ),
    "zero scaled": (
        '[inputs.idle]\nmean = 0.0\nsd = 1\n[design.idle]\nlow = -1\nhigh = 1\nspread = "scaled"\n',
        ["design.idle.spread", "zero cannot be scaled"],
    ),
    "too many points": (
        DESIGN + '[[maps]]\nover = ["across", "up"]\npoints = 10000\n',
        ["maps[1]", "100 000 000 points (10 000 by 10 000)", "up to 100 000 points", "points = 40"],
    ),
    "too many points by steps": (
        DESIGN.replace("high = 3", "high = 3\nstep = 0.001") + '[[maps]]\nover = ["across", "up"]\n',
        ["maps[1]", "9 006 001 points (3 001 by 3 001)", "points = 40"],
    ),
    "too many evaluations": (
        DESIGN + '[[maps]]\nover = ["across", "up"]\npoints = 300\nsamples = 1000000\n',
        ["maps[1]", "90 000 points of 1 000 000 samples", "fewer samples a point"],
    ),
    "a map over what nothing depends on": (
        '[design.idle]\nlow = 0\nhigh = 1\n[[maps]]\nover = ["idle"]\n',
        ["maps[1].over", "no limit here depends on this design variable", "idle", "across; up"],
    ),
    "a map over an unknown variable": (
        DESIGN + '[[maps]]\nover = ["acros"]\n',
        ["maps[1].over", "did you mean 'across'?"],
    ),
    "a map of an unknown limit": (
        DESIGN + '[[maps]]\nover = ["across"]\nlimits = ["down"]\n',
        ["maps[1].limits", "down"],
    ),
    "a map over three": (DESIGN + '[[maps]]\nover = ["across", "up", "idle"]\n', ["maps[1].over"]),
    "a question about an unknown limit": (
        DESIGN + '[[questions]]\nvary = "across"\nlimit = "down"\n',
        ["questions[1].limit", "down"],
    ),
    "a question that varies what does not matter": (
        '[design.idle]\nlow = 0\nhigh = 1\n[[questions]]\nvary = "idle"\nlimit = "up"\n',
        ["questions[1].vary", "no limit here depends"],
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_each_wrong_design_is_told_before_anything_is_computed(name: str, tmp_path: Path) -> None:
    text, expected = WRONG[name]
    with pytest.raises(SquatlineError) as caught:
        prepare(known(tmp_path, text))
    for said in ("study.toml", *expected):
        assert said in str(caught.value)


def test_a_search_of_nothing_but_idle_variables_is_refused(tmp_path: Path) -> None:
    study = known(tmp_path, "[design.idle]\nlow = 0\nhigh = 1\n" + OBJECTIVE)
    with pytest.raises(SquatlineError, match="no limit and no objective depends on any design variable"):
        explore(study, parts=["search"])


def test_too_many_points_of_a_search_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SquatlineError, match=r"search\.points: the number is out of range") as told:
        known(tmp_path, DESIGN + OBJECTIVE + "[search]\npoints = 1000000000\n")
    assert told.value.allowed == "up to 65536"


def test_nothing_to_explore_is_told(tmp_path: Path) -> None:
    with pytest.raises(SquatlineError, match="there is nothing to explore"):
        explore(known(tmp_path, ""))
    exploration = explore(known(tmp_path, DESIGN + '[[maps]]\nover = ["across"]\nsamples = 500\n'))[0]
    assert exploration is not None
    assert exploration.notes == (
        "no [[objectives]] are set, so there is nothing to search the design variables for",
    )


def test_every_part_takes_another_number_of_samples(tmp_path: Path) -> None:
    maps = '[[maps]]\nover = ["across"]\nsamples = 500\n'
    exploration = explore(known(tmp_path, DESIGN + maps), parts=["maps"], samples=300)[0]
    assert exploration is not None
    assert [one.samples for one in exploration.maps] == [300]


# --- the command ------------------------------------------------------------------------------------------


@pytest.mark.long
def test_the_command_explores_and_leaves_data(tmp_path: Path, squatline: Callable[..., Answer]) -> None:
    rest = DESIGN + OBJECTIVE + '[[maps]]\nover = ["across", "up"]\npoints = 5\nsamples = 500\n'
    rest += '[[questions]]\nask = "How far across?"\nvary = "across"\nlimit = "across"\nsamples = 500\n'
    rest += "[search]\npoints = 8\nsamples = 500\nverify = 2000\nstarts = 1\n"
    folder = write_known(tmp_path, rest, samples=500)
    answer = squatline("explore", folder, "--allow-code", "--no-report", "--details")
    assert answer.status == 0, answer.err
    for said in ("How far across?", "# every limit passes", "Best build for highest gain"):
        assert said in answer.out
    record = json.loads((folder / "results" / "design.json").read_text())
    summary = json.loads((folder / "results" / "summary.json").read_text())
    assert {"written_by": "squatline", **summary["design"]} == record
    again = squatline("explore", folder, "--allow-code", "--no-report", "--only", "maps", "--json")
    kept = json.loads(again.out)["design"]
    assert kept.pop("headline").startswith("Best build for highest gain")
    assert kept == summary["design"]
    assert kept["search"]["optimum"]["at_end"] == []


def test_the_command_ends_with_one_when_asked_to_and_nothing_conforms(
    tmp_path: Path, squatline: Callable[..., Answer]
) -> None:
    """Five across leaves nothing of a first input of three, wherever up is put."""
    high_only = DESIGN.replace("low = 0", "low = 5", 1).replace("high = 3", "high = 6", 1)
    rest = high_only + '[[maps]]\nover = ["across"]\npoints = 3\nsamples = 500\n'
    command = ("explore", write_known(tmp_path, rest, samples=500), "--allow-code", "--no-report")
    assert squatline(*command).status == 0
    assert squatline(*command, "--strict").status == 1


def test_the_command_knows_its_parts(tmp_path: Path, squatline: Callable[..., Answer]) -> None:
    answer = squatline("explore", write_known(tmp_path, DESIGN), "--only", "map")
    assert answer.status == 2
    assert "did you mean 'maps'?" in answer.err


def test_check_tells_a_wrong_map_without_computing(tmp_path: Path, squatline: Callable[..., Answer]) -> None:
    rest = DESIGN + '[[maps]]\nover = ["across", "up"]\npoints = 10000\n'
    answer = squatline("check", write_known(tmp_path, rest), "--allow-code")
    assert answer.status == 2
    assert "100 000 000 points" in answer.err
