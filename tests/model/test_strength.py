"""Strength: reserve factors and their cap, rods pushed and pulled, loads that scale."""

from __future__ import annotations

import numpy as np
import pytest

from tests.mechanism_help import FLAPS, ask, link, one


def test_reserve_is_strength_over_stress() -> None:
    found = ask("lower_flap_strength_margin", "lower_flap_bending_stress")
    assert float(found["lower_flap_strength_margin"]) == pytest.approx(
        140e6 / float(found["lower_flap_bending_stress"])
    )
    doubled = float(one("lower_flap_strength_margin", load_factor=2.0))
    assert doubled == pytest.approx(float(found["lower_flap_strength_margin"]) / 2)


def test_without_load_the_reserve_is_its_cap_and_no_infinity() -> None:
    names = ("smallest_strength_margin", "smallest_rod_margin", "lower_flap_mid_span_deflection")
    strength, rod, deflection = (
        float(value) for value in ask(*names, load_factor=0.0, reserve_cap=50.0).values()
    )
    assert (strength, rod, deflection) == (50, 50, 0)


def test_a_scattered_strength_breaks_some() -> None:
    strength = np.array([5e6, 9e6, 140e6])
    margins = one("smallest_strength_margin", **{f"{flap}_strength": strength for flap in FLAPS})
    assert np.array_equal(margins < 1, [True, False, False])


@pytest.mark.parametrize("fixity", [0.0, 0.25, 0.5, 0.75, 1.0])
def test_largest_moment_is_at_mid_span_or_at_the_ends(fixity: float) -> None:
    """The moment along the span is w x (L - x)/2 less the end moment."""
    places = np.linspace(0, 0.3, 301)
    along = 100 * places * (0.3 - places) / 2 - fixity * 100 * 0.3**2 / 12
    found = link("link_bending_moment", link_span=0.3, link_normal_force=30.0, link_end_fixity=fixity)
    assert float(found["link_bending_moment"]) == pytest.approx(np.abs(along).max(), rel=1e-4)


def test_lifting_air_bends_the_other_way_but_strains_alike() -> None:
    down, up = (
        ask(
            "lower_flap_mid_span_deflection",
            "lower_flap_bending_stress",
            lower_flap_normal_coefficient_closed=coefficient,
        )
        for coefficient in (1.0, -1.0)
    )
    assert float(up["lower_flap_mid_span_deflection"]) == -float(down["lower_flap_mid_span_deflection"])
    assert float(up["lower_flap_bending_stress"]) == float(down["lower_flap_bending_stress"])


def test_rod_force_balances_the_moment_about_the_pivot() -> None:
    names = [
        f"middle_flap_{name}"
        for name in (
            "rod_force",
            "closing_moment",
            "arm_pin_back",
            "arm_pin_up",
            "horn_pin_back",
            "horn_pin_up",
        )
    ]
    force, moment, back, up, horn_back, horn_up = (
        float(value) for value in ask(*names, flap_opening=0.4).values()
    )
    along = complex(back - horn_back, up - horn_up)
    push = force * along / abs(along)
    about_pivot = (complex(back, up).conjugate() * push).imag
    assert about_pivot + moment == pytest.approx(0, abs=1e-12)


def test_rod_margins_take_the_worst_place_of_the_travel() -> None:
    forces = one("upper_flap_rod_force", flap_opening=np.linspace(0, 1, 101), load_factor=1.5)
    found = ask("upper_flap_rod_buckling_margin", "upper_flap_rod_buckling_load", load_factor=1.5)
    load = float(found["upper_flap_rod_buckling_load"])
    assert float(found["upper_flap_rod_buckling_margin"]) == pytest.approx(load / forces.max(), rel=1e-3)


def test_a_measured_pop_off_force_stands_for_the_rods_strength() -> None:
    pulled = {"upper_flap_pressure_fraction_closed": 0.7, "upper_flap_rod_pull_strength": 10.0}
    found = ask("upper_flap_rod_pull_margin", "upper_flap_largest_rod_pull", **pulled)
    pull = float(found["upper_flap_largest_rod_pull"])
    assert pull > 0.5
    assert float(found["upper_flap_rod_pull_margin"]) == pytest.approx(10 / pull)


def test_a_bored_rod_loses_little_to_buckling() -> None:
    rods = [float(one("upper_flap_rod_second_moment", upper_flap_rod_bore=bore)) for bore in (0.0, 0.6e-3)]
    assert rods[1] / rods[0] == pytest.approx(1 - 0.5**4)
