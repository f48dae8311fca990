"""Results that go back into the study: the block of inputs, derived quantities, and contradictions."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from explorer.errors import SampleError
from explorer.files.reading import Source
from explorer.logs.fitting.derived import Derived, derived
from explorer.logs.fitting.fit import Fit, Known
from explorer.logs.fitting.input_block import contradiction, input_block, spread_of
from explorer.study.entries import read_distribution

SOURCE = Source("coast.csv", "2026-05-01", "ab12" + "0" * 60)
FIT = Fit(
    kind="coast-down",
    names=("drag_area", "rolling_resistance"),
    units=("m2", "1"),
    estimates=np.array([0.012, 0.015]),
    covariance=np.array([[1e-8, -8e-8], [-8e-8, 1e-6]]),
    scatter_covariance=np.array([[1e-8, -8e-8], [-8e-8, 1e-6]]),
    degrees_of_freedom=np.array([np.inf, np.inf]),
    sources=(SOURCE,),
    notes=('said "so"',),
)


def test_the_block_is_what_a_study_reads() -> None:
    text = input_block(FIT, limits={"rolling_resistance": (0.0, None)})
    data = tomllib.loads(text)
    assert data["inputs"]["drag_area"] == {
        "mean": 0.012,
        "sd": 1e-4,
        "unit": "m2",
        "source": "log coast.csv, 2026-05-01, sha256 ab1200000000",
    }
    assert data["inputs"]["rolling_resistance"]["low"] == 0.0
    assert data["correlations"] == [
        {"between": ["drag_area", "rolling_resistance"], "value": -0.8, "source": SOURCE.text}
    ]
    assert '# said "so"' in text
    for name, unit in zip(FIT.names, FIT.units, strict=True):
        distribution, _ = read_distribution(data["inputs"][name], unit, name, Path())
        assert distribution.nominal == pytest.approx(FIT.value(name), rel=1e-6)


def test_only_what_was_asked_for_is_written() -> None:
    data = tomllib.loads(input_block(FIT, only=["rolling_resistance"]))
    assert list(data["inputs"]) == ["rolling_resistance"]
    assert "correlations" not in data


def test_weak_correlations_are_left_out_and_perfect_ones_held_below_one() -> None:
    weak = replace(FIT, covariance=np.array([[1e-8, 1e-9], [1e-9, 1e-6]]))
    assert "correlations" not in tomllib.loads(input_block(weak))
    perfect = replace(FIT, covariance=np.array([[1e-8, 1e-7], [1e-7, 1e-6]]))
    assert tomllib.loads(input_block(perfect))["correlations"][0]["value"] == 0.9999


def test_few_readings_widen_the_spread_and_too_few_are_refused() -> None:
    # JCGM 101 6.4.9: standard deviation of Student's t is sqrt(v / (v - 2)).
    few = replace(FIT, degrees_of_freedom=np.array([4.0, np.inf]))
    assert spread_of(few, "drag_area") == pytest.approx(1e-4 * math.sqrt(2))
    assert spread_of(few, "rolling_resistance") == pytest.approx(1e-3)
    with pytest.raises(SampleError, match="too few rows to say how well drag_area is known"):
        input_block(replace(FIT, degrees_of_freedom=np.array([2.0, 9.0])))


def test_a_weak_fit_is_not_written() -> None:
    with pytest.raises(SampleError, match="not good enough to use: too short") as caught:
        input_block(replace(FIT, weakness="too short"))
    assert "drag_area = 0.01200 ± 0.00010 m²; rolling_resistance = 0.0150 ± 0.0010" in str(caught.value.found)
    assert caught.value.file == "coast.csv"


def test_intervals_are_those_of_students_t() -> None:
    # Handbook: t for 4 degrees of freedom and 95 % is 2.776; for infinitely many 1.960.
    few = replace(FIT, degrees_of_freedom=np.array([4.0, np.inf]))
    half = (few.interval()[:, 1] - few.estimates) / few.standard_uncertainties
    assert half == pytest.approx([2.776, 1.960], abs=1e-3)


def test_derived_quantities_follow_the_law_of_propagation() -> None:
    # Ratio of two correlated values, JCGM 100 5.2.2: (u/y)^2 = a^2 + b^2 - 2 r a b, relative uncertainties.
    ratio = derived(FIT, {"ratio": Derived("1", lambda of: of["drag_area"] / of["rolling_resistance"])})
    a, b, r = 1e-4 / 0.012, 1e-3 / 0.015, -0.8
    expected = 0.8 * math.sqrt(a**2 + b**2 - 2 * r * a * b)
    assert ratio.estimates == pytest.approx([0.8])
    assert ratio.standard_uncertainties == pytest.approx([expected], rel=1e-5)


def test_a_quantity_used_twice_is_added_before_it_is_squared() -> None:
    # The estimate rose by 0.5 for each unit of the mass; taking half the mass off again cancels it.
    mass = Known("mass", 6.0, 0.1, "kg")
    shift = np.array([0.05, 0.0])
    fit = replace(
        FIT,
        covariance=FIT.scatter_covariance + np.outer(shift, shift),
        contributions={"mass": shift},
        known=(mass,),
    )
    less = derived(fit, {"rest": Derived("m2", lambda of: of["drag_area"] - of["mass"] / 2)}, [mass])
    assert less.standard_uncertainties == pytest.approx([1e-4], rel=1e-6)
    more = derived(fit, {"sum": Derived("m2", lambda of: of["drag_area"] + of["mass"] / 2)}, [mass])
    assert more.standard_uncertainties == pytest.approx([math.hypot(1e-4, 0.1)], rel=1e-6)


def test_a_log_that_contradicts_the_study_says_by_how_much() -> None:
    far = contradiction(FIT, {"drag_area": (0.010, 3e-4), "mass": (6.0, 0.1)})
    assert far.contradicts
    assert far.distances == pytest.approx({"drag_area": 0.002 / math.hypot(3e-4, 1e-4)})
    near = contradiction(FIT, {"drag_area": (0.0119, 3e-4), "rolling_resistance": (0.015, 2e-3)})
    assert not near.contradicts
    with pytest.raises(SampleError, match="says nothing about"):
        contradiction(FIT, {"mass": (6.0, 0.1)})


def test_quantities_that_agree_one_by_one_may_contradict_together() -> None:
    # Both two sigmas off in the direction the correlation forbids: chi squared against its closed form.
    believed = {"drag_area": (0.012 - 2e-4, 1e-9), "rolling_resistance": (0.015 - 2e-3, 1e-9)}
    both = contradiction(FIT, believed)
    assert both.chi_squared == pytest.approx(2 * 4 / (1 - 0.8), rel=1e-4)
    assert both.contradicts
    assert all(abs(distance) < 3 for distance in both.distances.values())
