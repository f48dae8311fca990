"""Corner speed against closed forms and a general root finder."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from tests.checking import checks
from tests.curve_help import curve_of
from tests.model_help import SPRINT_CAR, bare_car, evaluate, scattered_cars, value


def test_without_downforce() -> None:
    """Value from memory: v^2 = friction times gravity times radius."""
    car = bare_car(tyre_friction=1.3, corner_radius=np.array([5.0, 12.0, 40.0]), speed=0.0)
    expected = np.sqrt(1.3 * 9.80665 * np.array([5.0, 12.0, 40.0]))
    np.testing.assert_allclose(value("corner_speed", **car), expected, rtol=1e-9)


@checks("corner_speed")
def test_with_downforce_shared_as_the_weight_is() -> None:
    """Value from memory: v^2 = mu g r / (1 - mu r rho A C / (2 m)), the wing above the centre of gravity."""
    area, radius = 0.03 * 1.5, 20.0
    car = bare_car(
        wing_area=0.03, wing_downforce_coefficient_closed=1.5, wing_station=0.172, tyre_friction=1.4
    )
    expected = np.sqrt(1.4 * 9.80665 * radius / (1 - 1.4 * radius * 1.2 * area / (2 * 4.6)))
    found = value("corner_speed", **{**car, "corner_radius": radius, "speed": 0.0})
    assert found == pytest.approx(expected, rel=1e-9)


def test_downforce_that_outgrows_the_corner_is_not_reached() -> None:
    """Value from memory: the closed form has no root where its denominator is negative.

    Then it is the cap.
    """
    car = bare_car(wing_area=0.1, wing_downforce_coefficient_closed=2.0, wing_station=0.172)
    found = value("corner_speed", **{**car, "tyre_friction": 1.4, "corner_radius": 60.0, "speed": 0.0})
    assert found == 90.0


def test_against_brentq() -> None:
    """Independent solver: brentq on friction times the load kept by each axle at that speed.

    First to slide.
    """
    cars = {**scattered_cars(5), "tyre_friction": 1.6, "corner_radius": 30.0, "speed": 0.0}
    found = value("corner_speed", **cars)
    for index in range(5):
        car = {name: float(np.broadcast_to(v, (5,))[index]) for name, v in cars.items()}
        front, rear = (curve_of(f"{end}_axle_load", ("speed",), car) for end in ("front", "rear"))
        weight = car["mass"] * 9.80665
        share = car["cg_station"] / car["wheelbase"]

        def spare(speed: float, car: dict = car, front=front, rear=rear, weight=weight, share=share) -> float:
            kept = min(float(front(speed)) / (1 - share), float(rear(speed)) / share) / weight
            return 1.6 * 9.80665 * kept - speed**2 / 30.0

        assert found[index] == pytest.approx(brentq(spare, 1.0, 40.0, xtol=1e-10), rel=1e-8)


def test_rear_downforce_alone_does_not_help() -> None:
    """Common practice, no source: the front slides first when all the downforce is at the rear."""
    car = {**SPRINT_CAR, "splitter_area": 0.0, "tyre_friction": 1.6, "corner_radius": 30.0, "speed": 0.0}
    found = evaluate(["corner_speed", "cornering_friction", "gravity"], car)
    assert found["corner_speed"] < np.sqrt(found["cornering_friction"] * found["gravity"] * 30.0)
