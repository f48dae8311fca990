"""What is smallest or largest in a travel, read at a few places, against the extreme of many."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from tests.checking import checks
from tests.mechanism_help import DEGREE, FLAPS, MM, OF_EACH, one

CLOSED, OPEN = 185 * DEGREE, 125 * DEGREE
PLACES = np.linspace(OPEN, CLOSED, 61)
#: Far enough forward to pull the rods, whatever the flap opening.
PUSHED_OPEN = {f"{flap}_pressure_fraction_{end}": 0.66 for flap in FLAPS for end in ("closed", "open")}


def least(places: np.ndarray, values: np.ndarray) -> float:
    """Return the smallest value of a spline through values, ends included; a level stretch has no turn."""
    curve = CubicSpline(places, values)
    turns = curve.derivative().roots(extrapolate=False)
    return float(np.nanmin(curve([places[0], *turns, places[-1]])))


def in_travel(name: str, **changes: Any) -> np.ndarray:
    """Return a quantity at many places of the travel."""
    return one(name, servo_angle=PLACES, **changes)


@pytest.mark.parametrize("flap", FLAPS)
@checks("element_smallest_transmission_angle", "element_dead_point_margin")
def test_angles_of_the_links(flap: str) -> None:
    """Independent library: scipy's CubicSpline through 61 places, its ends and its turning points."""
    angle = least(PLACES, in_travel(f"{flap}_transmission_angle"))
    assert float(one(f"{flap}_smallest_transmission_angle")) == pytest.approx(angle, rel=1e-3)
    lever = in_travel(f"{flap}_horn_lever") / OF_EACH["horn_radius"][FLAPS.index(flap)]
    margin = np.arcsin(least(PLACES, np.abs(lever)))
    assert float(one(f"{flap}_dead_point_margin")) == pytest.approx(margin, rel=1e-3)


@checks("element_dead_point_margin")
def test_a_travel_through_a_dead_point() -> None:
    """Independent library: scipy's CubicSpline of the flap's angle, where it turns back."""
    wide = {"servo_angle_closed": 290 * DEGREE, "servo_travel": -90 * DEGREE}
    places = np.linspace(200 * DEGREE, 290 * DEGREE, 181)
    angles = one("lower_flap_angle", servo_angle=places, **wide)
    back = CubicSpline(places, angles).derivative().roots(extrapolate=False)
    assert back.size == 1
    bent = CubicSpline(places, one("lower_flap_horn_to_rod_angle", servo_angle=places, **wide))
    assert float(bent(back[0])) == pytest.approx(0, abs=1e-6)
    ends = np.abs(bent([places[0], places[-1]]))
    assert float(one("lower_flap_dead_point_margin", **wide)) == pytest.approx(-ends.min(), rel=1e-3)


@pytest.mark.parametrize("flap", FLAPS)
@checks("element_largest_rod_push", "element_largest_rod_pull", "element_fail_safe_moment")
def test_forces_and_moments_of_a_flap(flap: str) -> None:
    """Independent library: scipy's CubicSpline through 61 places, its ends and its turning points."""
    for changes in ({}, PUSHED_OPEN):
        force = in_travel(f"{flap}_rod_force", **changes)
        push, pull = max(0.0, -least(PLACES, -force)), max(0.0, -least(PLACES, force))
        assert float(one(f"{flap}_largest_rod_push", **changes)) == pytest.approx(push, rel=2e-3)
        assert float(one(f"{flap}_largest_rod_pull", **changes)) == pytest.approx(pull, rel=2e-3)
        openings = np.linspace(0.0, 1.0, 61)
        moment = one(f"{flap}_closing_moment", **{f"{flap}_opening": openings}, **changes)
        left = least(openings, moment) - 1.5e-3
        assert float(one(f"{flap}_fail_safe_moment", **changes)) == pytest.approx(left, rel=2e-3)


@checks("required_servo_torque")
def test_torque_at_the_hardest_place() -> None:
    """Independent library: scipy's CubicSpline through 61 places; the hardest lies inside the travel."""
    torque = in_travel("servo_working_torque")
    most = -least(PLACES, -torque)
    assert most > 1.02 * max(torque[0], torque[-1])
    assert float(one("required_servo_torque")) == pytest.approx(most, rel=2e-3)


@checks("smallest_slot_gap", "smallest_loaded_gap", "binding_gap", "smallest_binding_gap")
def test_slots_through_the_travel_and_along_the_span() -> None:
    """Independent library: scipy's CubicSpline through 61 places of the travel, and of the span."""
    bowed = {"lower_flap_warp": -0.6 * MM, "middle_flap_hole_skew_height": 0.3 * MM}
    for changes in ({"lower_flap_hole_skew_height": -0.2 * MM}, bowed):
        slot = least(PLACES, in_travel("slot_gap", span_position=0.0, **changes))
        assert float(one("smallest_slot_gap", **changes)) == pytest.approx(slot, rel=2e-3)
        loaded = least(PLACES, in_travel("loaded_slot_gap", span_position=0.5, **changes))
        assert float(one("smallest_loaded_gap", **changes)) == pytest.approx(loaded, rel=2e-3)
        spans = np.linspace(0.0, 1.0, 61)
        here = least(spans, one("slot_gap", span_position=spans, servo_angle=CLOSED, **changes))
        assert float(one("binding_gap", servo_angle=CLOSED, **changes)) == pytest.approx(here, rel=2e-3)
        places = in_travel("slot_gap", span_position=spans[:, np.newaxis], **changes)
        narrowest = min(least(PLACES, row) for row in places)
        assert float(one("smallest_binding_gap", **changes)) == pytest.approx(narrowest, rel=2e-3)


def scattered_wings(wings: int) -> dict[str, Any]:
    """Scatter bow, skew, linkage and air of the three flaps (judgement), one row each."""
    stream = np.random.default_rng(11)
    spread = {
        "warp": 0.6 * MM,
        "hole_skew_station": 0.3 * MM,
        "hole_skew_height": 0.3 * MM,
        "horn_radius": 0.2 * MM,
        "arm_angle": 1.0 * DEGREE,
        "normal_coefficient_closed": 0.12,
        "normal_coefficient_open": 0.04,
        "pressure_fraction_closed": 0.03,
        "pressure_fraction_open": 0.05,
    }
    return {
        f"{flap}_{name}": OF_EACH.get(name, (0.0,) * 3)[place] + sd * stream.standard_normal((wings, 1))
        for name, sd in spread.items()
        for place, flap in enumerate(FLAPS)
    }


def test_no_place_along_the_span_is_narrower() -> None:
    """Independent solver: numpy.min of 1 001 places along the span."""
    wings, spans = scattered_wings(400), np.linspace(0.0, 1.0, 1001)
    narrowest = one("slot_gap", span_position=spans, servo_angle=CLOSED, **wings).min(axis=1)
    found = one("binding_gap", servo_angle=CLOSED, **wings)[:, 0]
    np.testing.assert_allclose(found, narrowest, atol=0.5e-6)
    # Both ends and the middle alone tell too much.
    three = one("slot_gap", span_position=spans[::500], servo_angle=CLOSED, **wings).min(axis=1)
    assert np.max(three - narrowest) > 0.08 * MM


def test_no_place_of_the_travel_is_harder() -> None:
    """Independent solver: numpy.max and numpy.min of 481 places of the travel."""
    wings, places = scattered_wings(400), np.linspace(OPEN, CLOSED, 481)
    hardest = one("servo_working_torque", servo_angle=places, **wings).max(axis=1)
    found = one("required_servo_torque", **wings)[:, 0]
    np.testing.assert_allclose(found, hardest, rtol=5e-4)
    nine = one("servo_working_torque", servo_angle=places[::60], **wings).max(axis=1)
    assert np.max(1 - nine / hardest) > 3e-3
    for flap in FLAPS:
        force = one(f"{flap}_rod_force", servo_angle=places, **wings)
        np.testing.assert_allclose(
            one(f"{flap}_largest_rod_push", **wings)[:, 0], np.maximum(force.max(axis=1), 0), atol=0.003
        )
        moment = one(f"{flap}_closing_moment", **{f"{flap}_opening": np.linspace(0.0, 1.0, 481)}, **wings)
        left = one(f"{flap}_fail_safe_moment", **wings)[:, 0]
        np.testing.assert_allclose(left, moment.min(axis=1) - 1.5e-3, atol=1e-6)
