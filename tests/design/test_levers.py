"""Levers: settings and steps against the closed form of a linear normal margin, and what is offered."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm
from study_help import CHASE

from explorer.design.levers import enough_for, levers_of, signed_effects, try_levers
from explorer.estimators.effects import looks_towards, low_to_high, mean_change, nearest_setting
from explorer.estimators.ranges import Range
from explorer.estimators.side_by_side import side_by_side
from explorer.results.levers import Levers
from explorer.study.study import Study, load_study

# Mass exactly known, so that the load on the front axle m g (1 - c / L) is normal in the station c.
STUDY = """
[study]
title = "Levers"
[inputs]
mass = {{ value = "5 kg", source = "test" }}
wheelbase = "360 mm"
cg_station = {{ mean = 190, sd = 5, unit = "mm", source = "test" }}
[conditions.rest]
speed = "0 m/s"
[[limits]]
name = "front load"
quantity = "front_static_load"
condition = "rest"
at_least = "25 N"
probability = {probability}
[[limits]]
name = "rear load"
quantity = "rear_static_load"
condition = "rest"
at_least = "23.9 N"
probability = 0.5
{more}
"""
G = 9.80665


def _study(tmp_path: Path, probability: float = 0.95, more: str = "") -> Study:
    (tmp_path / "study.toml").write_text(STUDY.format(probability=probability, more=more), encoding="utf-8")
    return load_study(tmp_path)


def _exact_setting(probability: float) -> float:
    """Station at which the load is 25 N or more with this probability, by the normal distribution."""
    return 0.36 * (1 - 25 / (5 * G)) - float(norm.ppf(probability)) * 0.005


def _rescue(found: Levers, limit: str = "front load") -> float:
    ((_, rescue),) = found.rescues(limit)
    return rescue.value


@pytest.mark.parametrize("probability", [0.6, 0.95, 0.99])
def test_the_setting_is_that_of_the_closed_form(tmp_path: Path, probability: float) -> None:
    """Source: normal distribution; the error is that of an order statistic, sqrt(p q / n) / density."""
    free = '[design.cg_station]\nlow = "100 mm"\nhigh = "250 mm"\n'
    found = try_levers(_study(tmp_path, probability, free), ["front load"])
    cars = enough_for(probability)
    z = float(norm.ppf(probability))
    error = 0.005 * math.sqrt(probability * (1 - probability) / cars) / float(norm.pdf(z))
    # It passes beyond doubt: two errors on the good side, and a quarter of a step of the search.
    assert -7 * error - 1e-4 < _rescue(found) - _exact_setting(probability) < 2 * error


def test_a_step_moves_the_margin_by_the_slope_and_a_value_that_can_be_had_is_offered(tmp_path: Path) -> None:
    found = try_levers(_study(tmp_path), ["front load"])
    ((lever,),) = [found.levers]
    assert lever.variable.name == "cg_station"
    assert lever.step == pytest.approx(0.005)
    front, rear = lever.effects
    slope = -5 * G * 0.005 / 0.36
    assert front.change.value == pytest.approx(slope)
    assert rear.change.value == pytest.approx(-slope)
    assert front.tried
    assert not rear.tried
    setting = _rescue(found)
    assert setting / 0.005 == pytest.approx(round(setting / 0.005))
    assert setting < _exact_setting(0.95) < setting + 2 * 0.005
    # The rear is met in half of the cars now, and not with the battery further forward.
    ((_, rescue),) = found.rescues("front load")
    assert rescue.breaks == ("rear load",)
    assert rescue.low < rescue.probability < rescue.high


def test_without_names_the_limits_that_do_not_pass_are_brought_to_pass(tmp_path: Path) -> None:
    study = _study(tmp_path)
    found = try_levers(study)
    assert [effect.tried for effect in found.levers[0].effects] == [True, False]
    assert found == try_levers(study, ["front load"])


def test_what_no_lever_mends_is_told_and_what_passes_is_not_tried(tmp_path: Path) -> None:
    # Beyond 150 mm the front cannot carry 25 N in 95 of 100 cars.
    free = '[design.cg_station]\nlow = "170 mm"\nhigh = "250 mm"\n'
    found = try_levers(_study(tmp_path, 0.95, free), ["front load"])
    (front, rear) = found.levers[0].effects
    assert front.tried
    assert front.rescue is None
    assert not rear.tried
    assert found.rescues("front load") == []


def test_only_what_can_be_set_is_a_lever(tmp_path: Path) -> None:
    assert [one.name for one in levers_of(_study(tmp_path))] == ["cg_station"]


def test_an_effect_has_the_sign_and_the_size_of_the_closed_form(tmp_path: Path) -> None:
    """Source: the mean of a normal beyond its 80 % quantile is density(z) / 0.2 standard deviations."""
    (front, rear) = signed_effects(_study(tmp_path))
    tail = float(norm.pdf(norm.ppf(0.8))) / 0.2
    expected = -5 * G / 0.36 * 0.005 * 2 * tail
    for effect, sign in ((front, 1), (rear, -1)):
        error = (effect.change.high - effect.change.low) / 4
        assert effect.change.value == pytest.approx(sign * expected, abs=4 * error)
        assert effect.change.clear


@pytest.mark.long
def test_intervals_cover() -> None:
    """Coverage of both 95 % intervals over 2 000 repeats, within three standard errors."""
    rng = np.random.default_rng(7)
    tail = float(norm.pdf(norm.ppf(0.8))) / 0.2
    paired = seen = 0
    repeats = 2_000
    for _ in range(repeats):
        x, noise = rng.normal(size=(2, 400))
        change = mean_change(noise, noise + 0.3 + 0.5 * x)
        paired += change.low <= 0.3 <= change.high
        change = low_to_high(x, 2 * x + noise)
        seen += change.low <= 4 * tail <= change.high
    error = 3 * math.sqrt(0.95 * 0.05 / repeats)
    assert paired / repeats == pytest.approx(0.95, abs=error)
    assert seen / repeats == pytest.approx(0.95, abs=error)


def test_cars_without_an_answer_are_left_out_and_told() -> None:
    before = np.array([1.0, 2.0, np.nan, 4.0])
    change = mean_change(before, before + 1)
    assert change.value == 1
    assert change.unanswered == 0.25
    assert not mean_change(np.full(3, np.nan), np.zeros(3)).clear


def _sought(
    surplus: Callable[[float], float], now: float, inside: Range, off: float
) -> tuple[float | None, int]:
    """Search with a guess that is off by so much; the setting found, and how many were asked for."""
    looks = [now, *itertools.chain(*looks_towards(now, inside))]
    guessed = {value: (surplus(value) + off, surplus(value) + abs(off)) for value in looks}
    asked: list[float] = []

    def answers(of: Mapping[int, float]) -> list[float]:
        asked.extend(of.values())
        return [surplus(value) for value in of.values()]

    (value,) = side_by_side([nearest_setting(now, inside, guessed)], answers)
    assert value is None or (value in asked and surplus(value) >= 0)
    return value, len(asked)


@pytest.mark.parametrize("off", [0.0, 0.3, -0.3])
@pytest.mark.parametrize(("now", "expected"), [(0.0, 3.0), (10.0, 7.0)])
def test_the_nearest_setting_on_either_side_is_found(now: float, expected: float, off: float) -> None:
    inside = Range(0.0, 10.0, 0.5)
    value, asked = _sought(lambda value: 2 - abs(value - 5), now, inside, off)
    assert value == expected
    assert asked <= 4
    assert _sought(lambda value: -1.0, now, inside, off) == (None, 0)


@pytest.mark.parametrize("steep", [lambda x: x, lambda x: math.copysign(1.0, x), lambda x: math.expm1(8 * x)])
def test_a_turn_of_any_shape_is_found_in_few_steps(steep: Callable[[float], float]) -> None:
    value, asked = _sought(lambda value: steep(value - math.pi), 0.0, Range(0.0, 10.0), 0.0)
    assert value is not None
    assert 0 <= value - math.pi <= 2.5 / 64
    assert asked <= 14


def test_a_lever_stays_within_twenty_of_its_steps() -> None:
    study = load_study(CHASE)
    levers = {one.name: one for one in levers_of(study)}
    pivot = levers["middle_flap_pivot_height"]
    now = study.inputs[pivot.name].distribution.nominal
    assert now - 0.020 <= pivot.range.low < now < pivot.range.high <= now + 0.020
