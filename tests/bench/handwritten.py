"""The demo's car written by hand, the way one would without a graph: the yardstick of the graph's overhead.

What is the same in two conditions is computed once, and what does not change with speed stands outside the
search; root finder, pitch balance, springs and moist air are the project's own: the same arithmetic is timed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.air.air import air_density
from explorer.model.attitude.equilibrium import CarAtSpeed, attitude
from explorer.model.attitude.gap_way import Way
from explorer.model.attitude.suspension import AxleSpring
from explorer.model.numeric import first_fall

Values = Mapping[str, Any]

SPEEDS = ("top_speed", "front_lift_off_speed", "divergence_speed")
AT_SPEED = (
    "pitch",
    "front_axle_load",
    "rear_axle_load",
    "aero_balance_front",
    "splitter_edge_clearance",
    "kinetic_energy",
)
#: Every (quantity, condition) computed here.
ANSWERS = (
    *((name, flap) for flap in ("closed", "open") for name in SPEEDS),
    *((name, flap) for flap in ("closed_fast", "open_fast") for name in AT_SPEED),
    ("front_axle_load", "closed"),
    ("rear_floor_edge_clearance", "closed"),
)


class Air:
    """Areas that the air acts on, for one flap opening."""

    def __init__(self, v: Values, opening: float) -> None:
        wing = v["wing_area"] * (
            v["wing_downforce_coefficient_closed"]
            + opening * (v["wing_downforce_coefficient_open"] - v["wing_downforce_coefficient_closed"])
        )
        wing_drag = v["wing_area"] * (
            v["wing_drag_coefficient_closed"]
            + opening * (v["wing_drag_coefficient_open"] - v["wing_drag_coefficient_closed"])
        )
        splitter = v["splitter_area"] * v["splitter_downforce_coefficient"]
        floor = v["floor_area"] * v["floor_downforce_coefficient"]
        self.drag = wing_drag + v["body_drag_area"]
        moment = wing_drag * v["wing_height"] + v["body_drag_area"] * v["body_drag_height"]
        self.rear = (
            wing * v["wing_station"] + splitter * v["splitter_station"] + floor * v["floor_station"] + moment
        ) / v["wheelbase"]
        self.front = wing + splitter + floor - self.rear
        wing_loss = v["wing_area"] * v["wing_pitch_slope"]
        splitter_loss = v["splitter_area"] * v["splitter_pitch_slope"]
        floor_loss = v["floor_area"] * v["floor_pitch_slope"]
        self.rear_loss = (
            wing_loss * v["wing_station"]
            + splitter_loss * v["splitter_station"]
            + floor_loss * v["floor_station"]
        ) / v["wheelbase"]
        self.front_loss = wing_loss + splitter_loss + floor_loss - self.rear_loss


NOTHING = np.zeros(())


class Car:
    """What does not depend on speed or flap."""

    def __init__(self, v: Values) -> None:
        self.weight = v["mass"] * 9.80665
        self.front_static = self.weight * (1 - v["cg_station"] / v["wheelbase"])
        self.rear_static = self.weight * v["cg_station"] / v["wheelbase"]
        self.front_rate, self.rear_rate = 2 * v["front_wheel_rate"], 2 * v["rear_wheel_rate"]
        self.front_spring = AxleSpring(self.front_rate, 1.0, 1.0, 5e4)
        self.rear_spring = AxleSpring(self.rear_rate, 1.0, 1.0, 5e4)
        self.power = v["shaft_power"] * v["drive_efficiency"]
        self.density = air_density(v["air_temperature"], v["air_pressure"], v["relative_humidity"])


class At:
    """Attitude and axle loads at one speed."""

    def __init__(self, v: Values, car: Car, air: Air, speed: Any, rear: bool = True) -> None:
        self.pressure = pressure = 0.5 * car.density * speed**2
        at_speed = CarAtSpeed(
            v["static_pitch"],
            v["wheelbase"],
            pressure * air.front / car.front_rate,
            pressure * air.rear / car.rear_rate,
            pressure * air.front_loss / car.front_rate,
            pressure * air.rear_loss / car.rear_rate,
            car.front_spring,
            car.rear_spring,
            NOTHING,
            (),
        )
        far = GroundEffect(*[NOTHING] * 7)
        self.pitch = attitude(at_speed, far, Way.unknown(far), pressure).pitch
        self.front = pressure * (air.front - air.front_loss * self.pitch)
        self.front_load = car.front_static + self.front
        if rear:
            self.rear = pressure * (air.rear - air.rear_loss * self.pitch)
            self.rear_load = car.rear_static + self.rear


def evaluate(v: Values) -> dict[tuple[str, str], Any]:
    """Return every (quantity, condition) of ``ANSWERS``."""
    car = Car(v)
    found: dict[tuple[str, str], Any] = {}
    for flap, opening in (("closed", 0.0), ("open", 1.0)):
        air = Air(v, opening)

        def excess(speed: Any, air: Air = air) -> Any:
            at = At(v, car, air, speed)
            grip = v["tyre_friction"] * np.maximum(at.rear_load + np.minimum(at.front_load, 0), 0)
            push = np.minimum(car.power / np.maximum(speed, 0.1), grip)
            rolling = v["rolling_resistance"] * np.maximum(car.weight + at.front + at.rear, 0)
            return push - (at.pressure * air.drag + rolling)

        def front_load(speed: Any, air: Air = air) -> Any:
            return At(v, car, air, speed, rear=False).front_load

        fall = first_fall(excess, 0.5, 90.0, steps=10)
        found["top_speed", flap] = np.where(fall.started & ~fall.broken, fall.position, np.nan)
        found["front_lift_off_speed", flap] = first_fall(front_load, 1.0, 90.0, steps=16).position
        softening = (air.front_loss / car.front_rate - air.rear_loss / car.rear_rate) / v["wheelbase"]
        found["divergence_speed", flap] = np.clip(
            np.sqrt(2 / np.maximum(softening, 1e-12) / car.density), 0, 90.0
        )
        if flap == "closed":
            slow = At(v, car, air, 45.0)
            found["front_axle_load", "closed"] = slow.front_load
            found["rear_floor_edge_clearance", "closed"] = _clearance(v, car, slow, "rear_floor_edge", 0.385)
        fast, condition = At(v, car, air, 55.0), f"{flap}_fast"
        found["pitch", condition] = fast.pitch
        found["front_axle_load", condition], found["rear_axle_load", condition] = (
            fast.front_load,
            fast.rear_load,
        )
        total = fast.front + fast.rear
        found["aero_balance_front", condition] = fast.front / np.where(total == 0, np.nan, total)
        found["splitter_edge_clearance", condition] = _clearance(v, car, fast, "splitter_edge", -0.12)
        found["kinetic_energy", condition] = 0.5 * v["mass"] * 55.0**2
    return found


def _clearance(v: Values, car: Car, at: At, point: str, station: float) -> Any:
    front, rear = car.front_spring.travel(at.front), car.rear_spring.travel(at.rear)
    return v[f"{point}_clearance_at_rest"] - front - (rear - front) / v["wheelbase"] * station
