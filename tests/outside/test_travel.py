"""What is smallest or largest in a travel, read at a few places, against the extreme of a spline of many."""

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
