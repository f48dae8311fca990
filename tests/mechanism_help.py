"""An invented wing with three moving flaps on one servo, and how to ask the models about it."""

from __future__ import annotations

from typing import Any

import numpy as np

from explorer.graph.arrays import Array
from tests.model_help import evaluate

DEGREE = np.pi / 180
MM = 1e-3

FLAPS = ("lower_flap", "middle_flap", "upper_flap")

SERVO: dict[str, Any] = {
    "servo_axis_station": 372 * MM,
    "servo_axis_height": 112 * MM,
    "servo_angle_closed": 185 * DEGREE,
    "servo_travel": -60 * DEGREE,
    "servo_stall_torque": 0.25,
    "servo_sixty_degree_time": 0.10,
}
MAINPLANE: dict[str, Any] = {
    "mainplane_trailing_edge_station": 400 * MM,
    "mainplane_trailing_edge_height": 150 * MM,
    "mainplane_chord": 70 * MM,
    "mainplane_incidence": 8 * DEGREE,
    "mainplane_thickness": 2 * MM,
    "end_plate_spacing": 250 * MM,
}
#: What a flap has of its own: one value a flap, lowest first.
OF_EACH: dict[str, tuple[float, float, float]] = {
    "chord": (30 * MM, 28 * MM, 26 * MM),
    "span": (248 * MM, 248 * MM, 248 * MM),
    "thickness": (3 * MM, 3 * MM, 3 * MM),
    "pivot_fraction": (0.5, 0.5, 0.5),
    "pivot_station": (410.7 * MM, 431.8 * MM, 447.3 * MM),
    "pivot_height": (160.4 * MM, 178.4 * MM, 199.0 * MM),
    "design_incidence_closed": (24 * DEGREE, 36 * DEGREE, 48 * DEGREE),
    "horn_radius": (6.0 * MM, 8.5 * MM, 11.5 * MM),
    "arm_length": (14 * MM, 14 * MM, 14 * MM),
    "arm_angle": (143 * DEGREE, 135 * DEGREE, 130 * DEGREE),
    "normal_coefficient_closed": (1.0, 1.1, 1.1),
    "normal_coefficient_open": (0.16, 0.14, 0.12),
    "pressure_fraction_closed": (0.38, 0.39, 0.40),
    "pressure_fraction_open": (0.30, 0.30, 0.30),
    "mass": (0.024, 0.022, 0.020),
    "mass_fraction": (0.47, 0.47, 0.47),
    "pivot_friction_torque": (1.5e-3, 1.5e-3, 1.5e-3),
    "modulus": (25e9, 25e9, 25e9),
    "strength": (140e6, 140e6, 140e6),
    "rod_diameter": (1.2 * MM, 1.2 * MM, 1.2 * MM),
    "rod_modulus": (200e9, 200e9, 200e9),
    "rod_strength": (400e6, 400e6, 400e6),
}
AIR: dict[str, Any] = {"air_density": 1.2, "speed": 50.0}

THREE_FLAPS: dict[str, Any] = {
    **SERVO,
    **MAINPLANE,
    **AIR,
    **{
        f"{flap}_{name}": value
        for name, values in OF_EACH.items()
        for flap, value in zip(FLAPS, values, strict=True)
    },
}


def ask(*wanted: str, flaps: tuple[str, ...] = FLAPS, **changes: Any) -> dict[str, Any]:
    """Return quantities of the three-flap wing with some inputs changed."""
    return evaluate(wanted, {**THREE_FLAPS, **changes}, families={"element": flaps})


def one(wanted: str, flaps: tuple[str, ...] = FLAPS, **changes: Any) -> Array:
    """Return one quantity of the three-flap wing with some inputs changed."""
    return np.asarray(ask(wanted, flaps=flaps, **changes)[wanted])


def four_bar(ground: Any, horn: Any, rod: Any, arm: Any, **changes: Any) -> dict[str, Any]:
    """Return the inputs of a single four-bar that lies on the axis of stations, its arm along the chord."""
    return {
        "servo_axis_station": 0.0,
        "servo_axis_height": 0.0,
        "link_pivot_station": ground,
        "link_pivot_height": 0.0,
        "link_horn_radius": horn,
        "link_rod_length": rod,
        "link_arm_length": arm,
        "link_arm_angle": 0.0,
        **changes,
    }


def link(*wanted: str, **given: Any) -> dict[str, Any]:
    """Return quantities of an element called ``link`` alone on its servo."""
    return evaluate(wanted, given, families={"element": ("link",)})
