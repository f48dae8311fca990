"""The four-bar against Norton's example, Freudenstein's equation solved another way, and general solvers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq, fsolve

from tests.checking import checks
from tests.mechanism_help import DEGREE, FLAPS, four_bar, link, one


def _at(degrees: float, assembly: float, *wanted: str) -> list[float]:
    bar = four_bar(100.0, 40.0, 120.0, 80.0)
    found = link(*wanted, servo_angle=degrees * DEGREE, link_assembly=assembly, **bar)
    return [float(found[name]) for name in wanted]


PINS = ("link_horn_pin_back", "link_horn_pin_up", "link_arm_pin_back", "link_arm_pin_up")


def _rod_direction(horn_back: float, horn_up: float, arm_back: float, arm_up: float) -> float:
    return float(np.arctan2(arm_up - horn_up, arm_back - horn_back))


@checks("element_transmission_angle")
def test_norton_example() -> None:
    """Norton, Design of Machinery, Example 4-1, the open linkage: value from memory, recomputed."""
    angle, transmission, *pins = _at(40, -1, "link_angle", "link_transmission_angle", *PINS)
    assert angle / DEGREE == pytest.approx(57.325, abs=5e-4)
    assert _rod_direction(*pins) / DEGREE == pytest.approx(20.298, abs=5e-4)
    assert transmission / DEGREE == pytest.approx(37.027, abs=5e-4)


def _freudenstein(servo: float, ground: float, horn: float, rod: float, arm: float) -> tuple[float, float]:
    """Both follower angles by the half-tangent quadratic (Norton, eq. 4.10)."""
    k1, k2 = ground / horn, ground / arm
    k3 = (horn**2 - rod**2 + arm**2 + ground**2) / (2 * horn * arm)
    a = np.cos(servo) - k1 - k2 * np.cos(servo) + k3
    b, c = -2 * np.sin(servo), k1 - (k2 + 1) * np.cos(servo) + k3
    root = np.sqrt(b**2 - 4 * a * c)
    return 2 * np.arctan2(-b - root, 2 * a), 2 * np.arctan2(-b + root, 2 * a)


@pytest.mark.parametrize("servo", [20.0, 75.0, 130.0, 200.0, 290.0])
def test_freudenstein_by_half_tangents(servo: float) -> None:
    """Source: Norton, Design of Machinery, eq. 4.10, Freudenstein's equation in closed form.

    The same two angles.
    """
    expected = _freudenstein(servo * DEGREE, 100.0, 40.0, 120.0, 80.0)
    found = [_at(servo, side, "link_angle")[0] for side in (1.0, -1.0)]
    turn = [np.exp(1j * np.sort(angles)) for angles in (np.asarray(expected), np.asarray(found))]
    assert np.sort_complex(turn[1]) == pytest.approx(np.sort_complex(turn[0]), abs=1e-12)


@checks(
    "element_angle",
    "element_horn_pin_back",
    "element_horn_pin_up",
    "element_arm_pin_back",
    "element_arm_pin_up",
    "element_horn_to_rod_angle",
)
def test_loop_closed_by_a_general_solver() -> None:
    """Independent solver: scipy's fsolve on the vector loop from near the answer."""
    servo = 65 * DEGREE

    def loop(angles: np.ndarray) -> list[float]:
        gap = 40 * np.exp(1j * servo) + 120 * np.exp(1j * angles[0]) - 100 - 80 * np.exp(1j * angles[1])
        return [gap.real, gap.imag]

    rod, arm = fsolve(loop, [20 * DEGREE, 70 * DEGREE], xtol=1e-12)
    angle, bent, *pins = _at(65, -1, "link_angle", "link_horn_to_rod_angle", *PINS)
    assert (angle, _rod_direction(*pins)) == pytest.approx((arm, rod), abs=1e-9)
    ends = 40 * np.exp(1j * servo) - 100, 80 * np.exp(1j * arm)
    assert pins == pytest.approx([part for end in ends for part in (end.real, end.imag)], rel=1e-9)
    assert abs(bent) == pytest.approx(servo - rod, rel=1e-9)


@checks("element_assembly")
def test_the_links_are_put_together_as_the_closed_element_lies() -> None:
    """Independent solver: scipy's fsolve on the rod's length, from either side of the pins' line."""
    horn = 40 * np.exp(1j * 65 * DEGREE) - 100
    bar = four_bar(100.0, 40.0, 120.0, 80.0, servo_angle=65 * DEGREE, servo_angle_closed=65 * DEGREE)
    sides = set()
    for near in (70 * DEGREE, -120 * DEGREE):
        arm = fsolve(lambda angle: abs(80 * np.exp(1j * angle) - horn) - 120, near, xtol=1e-12)[0]
        found = link("link_assembly", "link_angle", **bar, link_design_incidence_closed=arm)
        assert found["link_angle"] == pytest.approx(arm, abs=1e-9)
        assert found["link_assembly"] == np.sign((horn.conjugate() * np.exp(1j * arm)).imag)
        sides.add(float(found["link_assembly"]))
    assert sides == {-1.0, 1.0}


def test_arm_pin_is_where_two_circles_meet() -> None:
    """Value from memory: the circle of the rod meets that of the arm, by the textbook construction."""
    horn_pin, pivot = 40 * np.exp(1j * 100 * DEGREE), 100.0
    between = pivot - horn_pin
    along = (120**2 - 80**2 + abs(between) ** 2) / (2 * abs(between))
    foot = horn_pin + along * between / abs(between)
    off = 1j * np.sqrt(120**2 - along**2) * between / abs(between)
    expected = {np.round(np.angle(foot + side * off - pivot), 10) for side in (1, -1)}
    assert {np.round(_at(100, side, "link_angle")[0], 10) for side in (1.0, -1.0)} == expected


def test_toggle_positions() -> None:
    """Source: Norton, Design of Machinery, eq. 4.37.

    A non-Grashof linkage stops where rod and arm come into line.
    """
    ground, horn, rod, arm = 100.0, 90.0, 50.0, 60.0
    toggle = np.arccos((horn**2 + ground**2 - (rod + arm) ** 2) / (2 * horn * ground))
    bar = four_bar(ground, horn, rod, arm)
    inside, outside = (
        float(link("link_angle", servo_angle=angle, link_assembly=1.0, **bar)["link_angle"])
        for angle in (toggle - 1e-6, toggle + 1e-6)
    )
    assert np.isfinite(inside)
    assert np.isnan(outside)


@pytest.mark.parametrize("flap", FLAPS)
@checks("element_level_horn_radius")
def test_level_horn_radius_by_a_root_search(flap: str) -> None:
    """Independent solver: scipy's brentq on the level error, against the radius in closed form."""

    def error(radius: float) -> float:
        return float(one(f"{flap}_level_error", **{f"{flap}_horn_radius": radius}))

    assert float(one(f"{flap}_level_horn_radius")) == pytest.approx(brentq(error, 4e-3, 13e-3, xtol=1e-12))


def test_twice_the_horn_radius_turns_about_twice_as_far() -> None:
    """Common practice, no source: twice the horn radius turns a flap about twice as far."""
    turns = [float(one("lower_flap_travel", lower_flap_horn_radius=radius)) for radius in (0.004, 0.008)]
    assert turns[1] / turns[0] == pytest.approx(2, rel=0.1)


def test_different_incidence_needs_different_radii_to_come_level() -> None:
    """Common practice, no source: flaps set at different incidence need different radii to come level."""
    radii = [float(one(f"{flap}_level_horn_radius")) for flap in FLAPS]
    assert radii == sorted(radii)
    assert radii[0] < 0.8 * radii[1] < 0.8 * radii[2]
    alike = {f"{flap}_horn_radius": radii[1] for flap in FLAPS}
    level = {f"{flap}_horn_radius": radius for flap, radius in zip(FLAPS, radii, strict=True)}
    assert float(one("level_difference", **alike)) > 10 * DEGREE
    assert float(one("level_difference", **level)) == pytest.approx(0, abs=1e-9)
