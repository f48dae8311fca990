"""Linkage, servo, rods and elements, each value by itself: places and forces written out as vectors."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import approx_fprime

from tests.checking import checks
from tests.mechanism_help import DEGREE, FLAPS, MM, OF_EACH, THREE_FLAPS, ask, one
from tests.model_help import evaluate

HERE = 160 * DEGREE
PRESSURE = 0.6 * 50.0**2
G = 9.80665


def named(flap: str, *names: str, **changes: Any) -> dict[str, float]:
    """Return quantities of one flap under their own names."""
    found = ask(*(f"{flap}_{name}" for name in names), **changes)
    return {name: float(found[f"{flap}_{name}"]) for name in names}


def pins(flap: str, servo_angle: float) -> tuple[complex, complex, complex]:
    """Pivot, horn pin and arm pin of a flap's four-bar, from its angle and the drawing."""
    drawn = {name: THREE_FLAPS[f"{flap}_{name}"] for name in OF_EACH}
    pivot = complex(drawn["pivot_station"], drawn["pivot_height"])
    horn = complex(372 * MM, 112 * MM) + drawn["horn_radius"] * np.exp(1j * servo_angle)
    angle = float(one(f"{flap}_angle", servo_angle=servo_angle)) + drawn["arm_angle"]
    return pivot, horn, pivot + 14 * MM * np.exp(1j * angle)


def across(lever: complex, force: complex) -> float:
    """Moment of a force at the end of a lever, anticlockwise positive."""
    return (lever.conjugate() * force).imag


@pytest.mark.parametrize("flap", FLAPS)
@checks(
    "element_arm_along",
    "element_arm_across",
    "element_arm_lever",
    "element_horn_lever",
    "element_rod_length",
)
def test_places_and_levers_of_the_rod(flap: str) -> None:
    """Value from memory: pins as complex numbers, levers as cross products with the direction of the rod."""
    pivot, horn, arm = pins(flap, HERE)
    names = ("arm_along", "arm_across", "arm_lever", "horn_lever", "rod_length")
    found = named(flap, *names, servo_angle=HERE)
    assert abs(arm - horn) == pytest.approx(found["rod_length"], rel=1e-9)
    share = (arm - pivot) / (horn - pivot)
    assert found["arm_along"] == pytest.approx(share.real, rel=1e-9)
    assert found["arm_across"] == pytest.approx(share.imag, rel=1e-9)
    push = (arm - horn) / abs(arm - horn)
    assert found["arm_lever"] == pytest.approx(across(arm - pivot, push), rel=1e-9)
    axis = complex(372 * MM, 112 * MM)
    assert found["horn_lever"] == pytest.approx(across(horn - axis, push), rel=1e-9)


@checks("element_velocity_ratio")
def test_how_fast_a_flap_turns() -> None:
    """Independent solver: approx_fprime on the flap's angle over the servo's."""
    turn = approx_fprime(
        np.array([HERE]), lambda at: float(one("middle_flap_angle", servo_angle=at.item())), 1e-7
    )[0]
    assert named("middle_flap", "velocity_ratio", servo_angle=HERE)["velocity_ratio"] == pytest.approx(
        turn, rel=1e-5
    )


@checks(
    "element_normal_coefficient",
    "element_pressure_fraction",
    "element_normal_force",
    "element_weight_moment",
    "element_closing_moment",
)
def test_air_and_weight_on_a_flap_part_way() -> None:
    """Independent library: numpy.interp between the ends of the travel; forces crossed with their arms."""
    names = ("normal_coefficient", "pressure_fraction", "normal_force", "weight_moment", "closing_moment")
    open_at = {"lower_flap_design_incidence_open": 2 * DEGREE}
    found = named("lower_flap", *names, lower_flap_opening=0.3, **open_at)
    coefficient, centre = np.interp(0.3, [0, 1], [1.0, 0.16]), np.interp(0.3, [0, 1], [0.38, 0.30])
    along = np.exp(1j * np.interp(0.3, [0, 1], [24 * DEGREE, 2 * DEGREE]))
    force = PRESSURE * 30 * MM * 248 * MM * coefficient
    weight = across(30 * MM * (0.47 - 0.5) * along, -1j * 0.024 * G)
    air = across(30 * MM * (centre - 0.5) * along, -1j * along * force)
    assert found["normal_coefficient"] == pytest.approx(coefficient, rel=1e-12)
    assert found["pressure_fraction"] == pytest.approx(centre, rel=1e-12)
    assert found["normal_force"] == pytest.approx(force, rel=1e-12)
    assert found["weight_moment"] == pytest.approx(weight, rel=1e-9)
    assert found["closing_moment"] == pytest.approx(weight + air, rel=1e-9)


@checks(
    "element_servo_torque",
    "element_servo_friction",
    "servo_air_torque",
    "servo_friction_torque",
    "servo_opening_torque",
    "servo_closing_torque",
    "servo_working_torque",
)
def test_torques_on_the_servo() -> None:
    """Value from memory: each flap's moment is held by its rod, whose pull turns the servo by its lever."""
    flaps = {}
    for flap in FLAPS:
        pivot, horn, arm = pins(flap, HERE)
        push = (arm - horn) / abs(arm - horn)
        ratio = across(horn - complex(372 * MM, 112 * MM), push) / across(arm - pivot, push)
        flaps[flap] = (named(flap, "closing_moment", servo_angle=HERE)["closing_moment"] * ratio, abs(ratio))
    air, friction = (sum(each[k] for each in flaps.values()) for k in (0, 1))
    friction *= 1.5e-3
    for flap, (torque, ratio) in flaps.items():
        found = named(flap, "servo_torque", "servo_friction", servo_angle=HERE)
        assert found["servo_torque"] == pytest.approx(torque, rel=1e-9)
        assert found["servo_friction"] == pytest.approx(1.5e-3 * ratio, rel=1e-9)
    # The servo opens clockwise: what the air does anticlockwise helps it to close.
    expected = {
        "servo_air_torque": air,
        "servo_friction_torque": friction,
        "servo_opening_torque": friction + air,
        "servo_closing_torque": friction - air,
        "servo_working_torque": abs(air) + friction,
    }
    found = ask(*expected, servo_angle=HERE)
    for name, torque in expected.items():
        assert float(found[name]) == pytest.approx(torque, rel=1e-9)


@checks("opening_time", "closing_time", "flap_opening_duration")
def test_time_of_the_servo_by_quadrature() -> None:
    """Independent library: scipy's quad of turn over a speed that falls in a straight line with torque."""
    names = ("opening", "closing")
    found = ask("servo_available_torque", "servo_no_load_speed", *(f"{each}_time" for each in names))
    flaps = {"element": FLAPS}
    found |= evaluate(["flap_opening_duration"], THREE_FLAPS, {"flap": "servo"}, flaps)
    places = np.linspace(185 * DEGREE, 125 * DEGREE, 61)
    for each in names:
        loads = one(f"servo_{each}_torque", servo_angle=places)
        speeds = found["servo_no_load_speed"] * np.minimum(1 - loads / found["servo_available_torque"], 1)
        time = quad(lambda at, v=speeds: 1 / np.interp(at, places[::-1], v[::-1]), places[-1], places[0])[0]
        assert float(found[f"{each}_time"]) == pytest.approx(time, rel=2e-3)
        if each == "opening":
            assert float(found["flap_opening_duration"]) == pytest.approx(time, rel=2e-3)


@checks(
    "element_rod_force",
    "element_rod_stiffness",
    "element_rod_pull_strength",
    "element_rod_second_moment",
    "element_rod_buckling_load",
)
def test_a_rod_that_is_a_tube() -> None:
    """Independent library: scipy's quad over rings of the tube; the rod holds the moment at its lever."""
    tube = {"upper_flap_rod_diameter": 2.4 * MM, "upper_flap_rod_bore": 1.6 * MM, "load_factor": 1.5}
    names = ("rod_force", "rod_stiffness", "rod_pull_strength", "rod_second_moment", "rod_length")
    found = named("upper_flap", *names, "rod_buckling_load", "closing_moment", servo_angle=HERE, **tube)
    area = quad(lambda r: 2 * np.pi * r, 0.8 * MM, 1.2 * MM)[0]
    bending = quad(lambda r: np.pi * r**3, 0.8 * MM, 1.2 * MM)[0]
    assert found["rod_stiffness"] == pytest.approx(200e9 * area / found["rod_length"], rel=1e-9)
    assert found["rod_pull_strength"] == pytest.approx(400e6 * area, rel=1e-9)
    assert found["rod_second_moment"] == pytest.approx(bending, rel=1e-9, abs=0)
    euler = np.pi**2 * 200e9 * bending / found["rod_length"] ** 2
    assert found["rod_buckling_load"] == pytest.approx(euler, rel=1e-9)
    pivot, horn, arm = pins("upper_flap", HERE)
    push = found["rod_force"] * (arm - horn) / abs(arm - horn)
    assert across(arm - pivot, push) == pytest.approx(-1.5 * found["closing_moment"], rel=1e-9)


@checks(
    "element_bending_stress",
    "element_shear_modulus",
    "element_torsion_constant",
    "element_second_moment",
    "element_section_modulus",
    "element_force_slope_area",
    "element_turning_stiffness",
)
def test_a_plate_that_bends_and_twists() -> None:
    """Independent library: scipy's quad of height squared; torsion c t^3/3, E/2.7, Dunkerley from memory."""
    names = ("bending_stress", "shear_modulus", "torsion_constant", "second_moment", "section_modulus")
    more = ("bending_moment", "force_slope_area", "turning_stiffness", "drive_stiffness")
    found = named("lower_flap", *names, *more, servo_stiffness=6.0)
    chord, half = 30 * MM, 1.5 * MM
    bending = chord * quad(lambda height: height**2, -half, half)[0]
    assert found["second_moment"] == pytest.approx(bending, rel=1e-9, abs=0)
    assert found["section_modulus"] == pytest.approx(bending / half, rel=1e-9)
    assert found["bending_stress"] == pytest.approx(found["bending_moment"] * half / bending, rel=1e-9)
    assert found["shear_modulus"] == pytest.approx(25e9 / 2.7, rel=1e-9)
    assert found["torsion_constant"] == pytest.approx(chord * (3 * MM) ** 3 / 3, rel=1e-9, abs=0)
    turn = float(one("lower_flap_design_incidence_open")) - 24 * DEGREE
    slope = chord * 248 * MM * (0.16 - 1.0) / turn
    assert found["force_slope_area"] == pytest.approx(slope, rel=1e-9)
    span = np.pi**2 / 4 * 25e9 / 2.7 * chord * (3 * MM) ** 3 / 3 / (248 * MM)
    row = 1 / found["drive_stiffness"] + 1 / span
    assert found["turning_stiffness"] == pytest.approx(1 / row, rel=1e-9)


@checks(
    "mainplane_chord_run",
    "mainplane_chord_rise",
    "element_chord_run",
    "element_chord_rise",
    "element_leading_edge_station",
    "element_leading_edge_height",
)
def test_edges_of_plates_that_are_turned() -> None:
    """Value from memory: complex numbers, chords turned by their incidence, the bow square to the chord."""
    names = [f"mainplane_chord_{way}" for way in ("run", "rise")]
    names += [f"upper_flap_{each}" for each in ("chord_run", "chord_rise")]
    names += [f"upper_flap_leading_edge_{each}" for each in ("station", "height")]
    bent = {"upper_flap_angle": 0.7, "upper_flap_bow": 1.2 * MM, "upper_flap_pivot_fraction": 0.35}
    found = [float(value) for value in ask(*names, **bent).values()]
    plane, chord = 70 * MM * np.exp(1j * 8 * DEGREE), 26 * MM * np.exp(0.7j)
    pivot = complex(447.3 * MM, 199.0 * MM)
    edge = pivot - 0.35 * chord + 1.2 * MM * 1j * np.exp(0.7j)
    expected = [part for each in (plane, chord, edge) for part in (each.real, each.imag)]
    assert found == pytest.approx(expected, rel=1e-9)


@checks("element_bow", "element_loaded_bow", "loaded_slot_gap", "slot_gap", "slots")
def test_elements_that_bow() -> None:
    """Independent library: numpy.polyfit of the parabola through ends and middle; level plates by hand."""
    found = ask("lower_flap_bow", "lower_flap_loaded_bow", span_position=0.2, lower_flap_warp=0.7 * MM)
    deflection = float(one("lower_flap_mid_span_deflection"))
    for name, middle in (("bow", 0.7 * MM), ("loaded_bow", 0.7 * MM - deflection)):
        parabola = np.polyfit([0.0, 0.5, 1.0], [0.0, middle, 0.0], 2)
        assert float(found[f"lower_flap_{name}"]) == pytest.approx(np.polyval(parabola, 0.2), rel=1e-9)
    plates = {f"{flap}_angle": 0.0 for flap in FLAPS[:2]}
    plates |= {"mainplane_trailing_edge_height": 0.05, "lower_flap_pivot_station": 0.43}
    plates |= {"middle_flap_pivot_station": 0.43, "lower_flap_pivot_height": 0.16}
    plates |= {"middle_flap_pivot_height": 0.1645, "span_position": 0.5}
    plates |= {"lower_flap_mid_span_deflection": 0.2 * MM, "middle_flap_mid_span_deflection": 0.5 * MM}
    assert float(one("slot_gap", FLAPS[:2], **plates)) == pytest.approx(1.5 * MM, rel=1e-9)
    assert float(one("loaded_slot_gap", FLAPS[:2], **plates)) == pytest.approx(1.2 * MM, rel=1e-9)


@checks("wing_mount_moment", "wing_mount_section_modulus", "wing_mount_stress")
def test_a_mount_in_the_wind() -> None:
    """Independent library: scipy's quad of height squared over the mount; moments of both forces by hand."""
    wing = {"wing_area": 0.04, "wing_station": 0.41, "wing_height": 0.17, "flap_opening": 0.0}
    wing |= {"wing_drag_coefficient_closed": 0.3, "wing_downforce_coefficient_closed": 1.5}
    wing |= {"wing_drag_coefficient_open": 0.1, "wing_downforce_coefficient_open": 0.4}
    mount = {"wing_mount_foot_station": 0.38, "wing_mount_foot_height": 0.07, "load_factor": 1.5}
    mount |= {"wing_mount_depth": 0.015, "wing_mount_width": 0.006}
    found = ask("wing_mount_moment", "wing_mount_section_modulus", "wing_mount_stress", **wing, **mount)
    moment = 1.5 * PRESSURE * 0.04 * (0.3 * 0.1 + 1.5 * 0.03) / 2
    modulus = 0.006 * quad(lambda height: height**2, -0.0075, 0.0075)[0] / 0.0075
    assert float(found["wing_mount_moment"]) == pytest.approx(moment, rel=1e-9)
    assert float(found["wing_mount_section_modulus"]) == pytest.approx(modulus, rel=1e-9)
    assert float(found["wing_mount_stress"]) == pytest.approx(moment / modulus, rel=1e-9)
