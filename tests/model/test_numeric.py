"""Roots for all samples at once: the first fall, the cap, missing values, and neighbours."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from explorer.model.numeric import (
    AT_ONCE,
    CurveOf,
    balanced,
    first_fall,
    least,
    looks,
    most,
    over_travel,
    secant,
)


@given(roots=st.lists(st.floats(1.5, 88.0), min_size=1, max_size=20))
@settings(max_examples=50, deadline=None)
def test_finds_the_root_of_a_falling_curve(roots: list[float]) -> None:
    root = np.array(roots)
    found = first_fall(lambda v: root**3 - v**3, 1.0, 90.0, steps=16)
    np.testing.assert_allclose(found.position, root, rtol=1e-9)
    assert found.found.all()
    assert not found.broken.any()


def test_takes_the_lowest_of_several_crossings() -> None:
    found = first_fall(lambda v: (20.0 - v) * (40.0 - v) * (60.0 - v), 1.0, 90.0, steps=30)
    assert found.position == pytest.approx(20.0)


def test_says_when_it_never_falls_and_when_it_never_started() -> None:
    level = np.array([5.0, -5.0, 5.0])
    found = first_fall(lambda v: level - 0.0 * v, 1.0, np.array([90.0, 90.0, 70.0]), steps=8)
    np.testing.assert_array_equal(found.position, [90.0, 1.0, 70.0])
    np.testing.assert_array_equal(found.started, [True, False, True])
    np.testing.assert_array_equal(found.found, [False, False, False])


def test_a_curve_that_loses_its_value_is_told_from_one_that_crosses() -> None:
    edge = np.array([30.0, 31.7])
    found = first_fall(lambda v: np.where(v < edge, 10.0 - 0.0 * v, np.nan), 1.0, 90.0, steps=8)
    np.testing.assert_allclose(found.position, edge, rtol=1e-9)
    assert found.broken.all()


def test_a_pole_behind_the_root_does_not_hide_it() -> None:
    pole = np.array([45.0, 46.0, 80.0])
    found = first_fall(lambda v: np.where(v < pole, 4.0 - 10.0 / (pole - v), np.nan), 1.0, 90.0, steps=8)
    np.testing.assert_allclose(found.position, pole - 2.5, rtol=1e-9)
    assert not found.broken.any()


def test_scalars_work_as_samples_do() -> None:
    found = first_fall(lambda v: 100.0 - v * v, 1.0, 90.0, steps=8)
    assert np.shape(found.position) == ()
    assert found.position == pytest.approx(10.0, rel=1e-9)


def test_no_sample_changes_its_neighbours_bits() -> None:
    """Splitting samples over chunks must not move a result."""
    root = np.random.default_rng(5).uniform(5, 85, 64)
    together = first_fall(lambda v: root * root - v * v, 1.0, 90.0, steps=16).position
    alone = [first_fall(lambda v, r=r: r * r - v * v, 1.0, 90.0, steps=16).position for r in root]
    np.testing.assert_array_equal(together, alone)


def test_few_looks_at_the_curve() -> None:
    looks = 0

    def curve(v: np.ndarray | float) -> np.ndarray:
        nonlocal looks
        looks += 1
        return np.linspace(100, 4000, 1000) - v**2

    first_fall(curve, 1.0, 90.0, steps=16)
    assert looks <= 28


def test_secant_needs_one_step_for_a_straight_line_and_admits_failure() -> None:
    looks = 0

    def line(x: np.ndarray) -> np.ndarray:
        nonlocal looks
        looks += 1
        return 3.0 - 2.0 * x

    assert secant(line, np.zeros(3), np.ones(3)) == pytest.approx(1.5)
    assert looks <= 4
    assert np.isnan(secant(lambda x: 1.0 + x * x, np.zeros(()), np.ones(())))


def test_a_root_in_a_jump_is_enclosed_and_none_is_made_up() -> None:
    """The value of a jump is its place; a curve that only falls towards zero, or ends, has no root."""
    edge = np.array([1.7, 23.0, 5.0, 5.0])
    ends = np.array([np.inf, np.inf, np.inf, 4.0])
    kind = np.array([0.0, 0.0, 1.0, 0.0])

    def curve(edge: np.ndarray, ends: np.ndarray, kind: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, ...]:
        jumping = np.where(at < edge, 3.0 + 40.0 / (1 + at), -2.0 - at)
        value = np.where(kind > 0, 1.0 / (1 + np.abs(at)), jumping)
        return np.where(at < ends, value, np.nan), 2 * at

    for alone in (CurveOf(curve, (edge, ends, kind)), lambda at: curve(edge, ends, kind, at)):
        met = balanced(alone, np.zeros(4))
        np.testing.assert_allclose(met.root, [1.7, 23.0, np.nan, np.nan], rtol=1e-6)
        np.testing.assert_array_equal(met.at_root[0], 2 * met.root)


def test_a_search_asks_less_and_less_of_a_curve_and_finds_the_same() -> None:
    """To the last bit as one sample after the other; samples that have their root are asked no more."""
    root = np.concatenate([np.full(900, 20.0), np.random.default_rng(3).uniform(5, 80, 100)])
    asked: list[int] = []

    def curve(root: np.ndarray, at: np.ndarray) -> np.ndarray:
        asked.append(np.size(at))
        bent = np.where(root == 20.0, 1.0, np.abs(at - root) + 0.1)
        return bent * (root - at)

    together = first_fall(CurveOf(curve, (root,)), 1.0, 90.0, steps=16).position
    assert asked[-1] <= 100
    for index in (0, 900, 950, 999):
        alone = first_fall(CurveOf(curve, (root[index],)), 1.0, 90.0, steps=16).position
        assert alone == together[index]
    asked.clear()
    met = balanced(CurveOf(lambda *of: (curve(*of), of[0]), (root,)), np.zeros(()), np.ones(()))
    assert asked[-1] <= 100
    np.testing.assert_allclose(met.root, root, rtol=1e-8)
    np.testing.assert_array_equal(met.at_root[0], root)


def test_several_places_are_looked_at_in_one_call_and_each_gets_its_own() -> None:
    calls = []

    def line(height: np.ndarray, place: np.ndarray) -> np.ndarray:
        calls.append(np.shape(place))
        return height - place

    height = np.linspace(1.0, 2.0, 128)
    places = [(share * height,) for share in np.linspace(0, 1, 100)]
    found = looks(CurveOf(line, (height,)), places, height.shape)
    np.testing.assert_array_equal(found, [height - place for (place,) in places])
    assert len(calls) == -(-100 * 128 // AT_ONCE)
    assert first_fall(CurveOf(line, (height,)), 0.0, 4.0, 32).position == pytest.approx(height)


@pytest.mark.parametrize("places", [3, 4, 9])
def test_the_least_between_places_is_that_of_a_parabola(places: int) -> None:
    turns = np.linspace(-0.3, 1.3, 1601)
    values = [2.0 * (place - turns) ** 2 - 5.0 for place in np.linspace(0.0, 1.0, places)]
    expected = 2.0 * (np.clip(turns, 0.0, 1.0) - turns) ** 2 - 5.0
    np.testing.assert_allclose(least(values), expected, atol=1e-12)
    np.testing.assert_allclose(most([-value for value in values]), -expected, atol=1e-12)


@pytest.mark.parametrize("places", [3, 4, 5, 9])
def test_the_least_is_never_above_a_place_nor_far_below_it_and_keeps_what_is_missing(places: int) -> None:
    values = np.random.default_rng(5).uniform(-1, 1, (places, 20_000))
    lowest, found = values.min(axis=0), least(list(values))
    assert np.all(found <= lowest)
    # The eighth is that of the lowest and those beside it, which span no more than all.
    assert np.all(found >= lowest - np.ptp(values, axis=0) / 8 - 1e-15)
    values[np.arange(places), np.arange(places)] = np.nan
    assert np.all(np.isnan(least(list(values))) == np.isnan(values).any(axis=0))
    one, *others = values
    np.testing.assert_array_equal(least([one[1], *others])[1], least(list(values))[1])


def test_a_level_or_straight_curve_has_its_least_at_a_place() -> None:
    assert least([np.array(0.3)] * 9) == 0.3
    assert least(over_travel(lambda at: np.array([1.0, -1.0]) * at, 0.25, 0.5)).tolist() == [0.25, -0.75]
