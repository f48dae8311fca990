"""The linkage: loops that close, virtual work, dead points, links that cannot close, and coming level."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from explorer.graph.graph import Graph
from explorer.model import modules
from tests.mechanism_help import DEGREE, FLAPS, MM, ask, four_bar, link, one


def _random_linkages(seed: int, samples: int = 300) -> dict[str, Any]:
    """Return linkages of any shape; some cannot close."""
    stream = np.random.default_rng(seed)
    lengths = stream.uniform(20, 120, (4, samples))
    return {
        **four_bar(*lengths),
        "link_arm_angle": stream.uniform(-3, 3, samples),
        "link_assembly": stream.choice([-1.0, 1.0], samples),
        "servo_angle": stream.uniform(-3, 3, samples),
    }


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_the_loop_closes_wherever_the_links_can(seed: int) -> None:
    bar = _random_linkages(seed)
    angle = link("link_angle", **bar)["link_angle"]
    horn = bar["link_horn_radius"] * np.exp(1j * bar["servo_angle"])
    arm = bar["link_pivot_station"] + bar["link_arm_length"] * np.exp(1j * (angle + bar["link_arm_angle"]))
    closes = np.isfinite(angle)
    rod = np.abs(arm - horn)
    assert rod[closes] == pytest.approx(bar["link_rod_length"][closes], rel=1e-9)
    # The three sides pivot to horn pin, arm and rod make a triangle, or nothing does.
    sides = np.sort(
        [np.abs(horn - bar["link_pivot_station"]), bar["link_arm_length"], bar["link_rod_length"]], axis=0
    )
    assert np.array_equal(closes, sides[2] <= sides[0] + sides[1])
    assert np.all(np.abs(angle[closes]) <= np.pi)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_velocity_ratio_is_the_slope_of_the_angle(seed: int) -> None:
    bar, small = _random_linkages(seed), 1e-6
    here = bar["servo_angle"]
    ratio, lever = link("link_velocity_ratio", "link_arm_lever", **bar).values()
    before, after = (
        link("link_angle", **{**bar, "servo_angle": here + step})["link_angle"] for step in (-small, small)
    )
    turned = np.angle(np.exp(1j * (after - before)))
    # Near a dead point of the rod the slope changes within the step.
    far = np.isfinite(turned) & (np.abs(lever) > 0.1 * bar["link_arm_length"])
    assert far.sum() > 50
    assert ratio[far] == pytest.approx(turned[far] / (2 * small), rel=1e-5, abs=1e-6)


def test_closed_is_the_design_incidence_and_rod_errors_move_it() -> None:
    for flap, closed in zip(FLAPS, (24, 36, 48), strict=True):
        assert float(one(f"{flap}_angle_closed")) == pytest.approx(closed * DEGREE)
        longer = float(one(f"{flap}_angle_closed", **{f"{flap}_rod_length_error": 0.5 * MM}))
        ratio = float(one(f"{flap}_arm_lever", flap_opening=0.0))
        assert longer - closed * DEGREE == pytest.approx(0.5 * MM / ratio, rel=0.05)


def test_flap_opening_moves_the_elements_between_their_ends() -> None:
    for flap in FLAPS:
        closed, opened = float(one(f"{flap}_angle_closed")), float(one(f"{flap}_angle_open"))
        assert float(one(f"{flap}_angle", flap_opening=0.0)) == pytest.approx(closed)
        assert float(one(f"{flap}_angle", flap_opening=1.0)) == pytest.approx(opened)
        assert float(one(f"{flap}_opening", flap_opening=1.0)) == pytest.approx(1)
        assert opened < float(one(f"{flap}_angle", flap_opening=0.5)) < closed
        assert float(one(f"{flap}_travel")) == pytest.approx(opened - closed)


def test_level_errors_gathered() -> None:
    errors = np.array([float(one(f"{flap}_level_error")) for flap in FLAPS])
    assert float(one("largest_level_error")) == np.abs(errors).max()
    assert float(one("level_difference")) == pytest.approx(errors.max() - errors.min())
    assert float(one("level_difference", FLAPS[:1])) == 0
    wanted = {f"{flap}_design_incidence_open": 2 * DEGREE for flap in FLAPS}
    assert float(one("lower_flap_level_error", **wanted)) == pytest.approx(errors[0] - 2 * DEGREE)


def test_a_rod_made_to_a_drawing_is_not_set_on_the_car() -> None:
    drawn = float(one("lower_flap_rod_length"))
    moved = {"lower_flap_pivot_height": 160.9 * MM}
    set_on_car = float(one("lower_flap_angle_closed", **moved))
    fixed = float(one("lower_flap_angle_closed", lower_flap_rod_length=drawn, **moved))
    assert set_on_car == pytest.approx(24 * DEGREE)
    assert abs(fixed - 24 * DEGREE) > 1 * DEGREE


def test_the_other_assembly_is_the_mirror_image() -> None:
    bar = four_bar(100.0, 40.0, 120.0, 80.0)
    up, down = (
        link("link_angle", servo_angle=turn, link_assembly=side, **bar)["link_angle"]
        for turn, side in ((0.7, 1.0), (-0.7, -1.0))
    )
    assert float(up) == pytest.approx(-float(down))


def test_links_that_cannot_close_are_counted_with_their_cause() -> None:
    wanted = ("lower_flap_angle_open", "largest_level_error", "smallest_slot_gap", "required_servo_torque")
    # 12 mm short, the rod cannot reach from the horn to the arm in the open half of the travel.
    found = ask(*wanted, lower_flap_rod_length=np.array([0.060, 0.040]))
    for name in wanted:
        assert np.array_equal(np.isnan(found[name]), [False, True]), name
    fails = Graph.build(modules(), {"element": FLAPS})["lower_flap_arm_across"].fails
    assert "cannot close" in fails


def test_a_dead_point_inside_the_travel_makes_the_margin_negative() -> None:
    """The horn starts past the line of the rod by a known angle, or short of it."""
    line = np.arctan2(40.0, 100.0)
    bar = four_bar(100.0, 20.0, np.hypot(100.0, 40.0) - 20.0, 40.0)
    bar |= {
        "servo_travel": 60 * DEGREE,
        "link_design_incidence_closed": 90 * DEGREE,
    }
    # With the horn along the line to the arm pin, horn and rod are in line.
    past, at, short = (
        float(
            link("link_dead_point_margin", servo_angle_closed=line - start, **bar)["link_dead_point_margin"]
        )
        for start in (10 * DEGREE, 0.0, -10 * DEGREE)
    )
    assert past < -10 * DEGREE
    assert at == pytest.approx(0, abs=1e-6)
    assert short > 10 * DEGREE
    assert past == pytest.approx(-short, rel=0.02)


def test_transmission_angle_is_the_smallest_of_the_travel() -> None:
    shares = np.linspace(0, 1, 101)
    along = one("upper_flap_transmission_angle", flap_opening=shares)
    smallest = float(one("upper_flap_smallest_transmission_angle"))
    assert smallest == pytest.approx(along.min(), abs=0.05 * DEGREE)
    assert float(one("smallest_transmission_angle")) == pytest.approx(
        min(float(one(f"{flap}_smallest_transmission_angle")) for flap in FLAPS)
    )


@pytest.mark.parametrize("flap", FLAPS)
def test_level_horn_radius_brings_it_level(flap: str) -> None:
    radius = one(f"{flap}_level_horn_radius")
    found = ask(f"{flap}_level_error", f"{flap}_angle_closed", **{f"{flap}_horn_radius": radius})
    assert float(found[f"{flap}_level_error"]) == pytest.approx(0, abs=1e-12)


def test_no_horn_radius_turns_an_element_the_wrong_way() -> None:
    """With the servo turning the other way the flaps would close further: no positive radius opens them."""
    assert np.isnan(float(one("lower_flap_level_horn_radius", servo_travel=60 * DEGREE)))


def test_no_horn_radius_turns_an_element_through_a_dead_point() -> None:
    """Turned right over, the arm would lie on the other side of the rod: the equation alone has a radius."""
    over = {"lower_flap_design_incidence_open": -150 * DEGREE}
    assert np.isnan(float(one("lower_flap_level_horn_radius", **over)))
    level_over = float(one("lower_flap_level_error", **over, lower_flap_horn_radius=22.1288 * MM))
    assert not abs(level_over) < 1 * DEGREE


def test_every_shape_of_input_broadcasts() -> None:
    radius = np.linspace(5, 7, 4) * MM
    names = ("largest_level_error", "smallest_dead_point_margin", "lower_flap_velocity_ratio")
    for name in names:
        alone = np.array([float(one(name, lower_flap_horn_radius=r)) for r in radius])
        assert one(name, lower_flap_horn_radius=radius) == pytest.approx(alone)
        assert one(name, lower_flap_horn_radius=radius[:, np.newaxis])[:, 0] == pytest.approx(alone)
    grid = one(
        "largest_level_error",
        lower_flap_horn_radius=radius[:, np.newaxis],
        servo_travel=np.array([-1.0, -1.1]),
    )
    assert grid.shape == (4, 2)


def test_no_element_no_linkage() -> None:
    graph = Graph.build(modules(), {})
    assert "largest_level_error" not in graph
    assert "servo_torque_in_hand" not in graph
