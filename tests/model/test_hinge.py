"""Hinge moments: how they grow with speed, what friction and weight take from the fail-safe."""

from __future__ import annotations

import numpy as np
import pytest

from tests.mechanism_help import FLAPS, one


def test_moment_grows_with_the_square_of_airspeed() -> None:
    weightless = {f"{flap}_mass": 0.0 for flap in FLAPS}
    moments = one("lower_flap_closing_moment", speed=np.array([20.0, 40.0]), **weightless)
    assert moments[1] == pytest.approx(4 * moments[0])


def test_coefficients_run_between_their_ends() -> None:
    for opening, cn, cp in ((0.0, 1.0, 0.38), (0.5, 0.58, 0.34), (1.0, 0.16, 0.30)):
        assert float(one("lower_flap_normal_coefficient", lower_flap_opening=opening)) == pytest.approx(cn)
        assert float(one("lower_flap_pressure_fraction", lower_flap_opening=opening)) == pytest.approx(cp)


def test_at_rest_only_weight_and_friction_are_left() -> None:
    """At rest friction holds these flaps open; without it their weight, behind the pivot or not, decides."""
    assert float(one("smallest_fail_safe_moment", speed=0.0)) < 0
    free = {f"{flap}_pivot_friction_torque": 0.0 for flap in FLAPS}
    heavy_tail = {f"{flap}_mass_fraction": 0.6 for flap in FLAPS}
    assert float(one("smallest_fail_safe_moment", speed=0.0, **free)) > 0
    assert float(one("smallest_fail_safe_moment", speed=0.0, **free, **heavy_tail)) < 0


def test_friction_comes_off_one_for_one() -> None:
    slick, sticky = (
        float(one("upper_flap_fail_safe_moment", upper_flap_pivot_friction_torque=torque))
        for torque in (0.0, 2e-3)
    )
    assert slick - sticky == pytest.approx(2e-3)


def test_fail_safe_asks_nothing_of_the_linkage() -> None:
    """The rod is gone: links that cannot close do not matter."""
    moment = float(one("lower_flap_fail_safe_moment"))
    assert float(one("lower_flap_fail_safe_moment", lower_flap_rod_length=1.0)) == moment
    assert np.isnan(float(one("lower_flap_closing_moment", lower_flap_rod_length=1.0)))


def test_the_weakest_element_decides() -> None:
    each = [float(one(f"{flap}_fail_safe_moment")) for flap in FLAPS]
    assert float(one("smallest_fail_safe_moment")) == min(each)


def test_the_open_end_decides_when_it_is_the_weakest() -> None:
    opens = float(one("lower_flap_fail_safe_moment", lower_flap_pressure_fraction_open=0.5))
    moment = float(
        one("lower_flap_closing_moment", lower_flap_opening=1.0, lower_flap_pressure_fraction_open=0.5)
    )
    assert opens == pytest.approx(moment - 1.5e-3)
    assert opens < 0


def test_wake_takes_its_share_of_the_closing_moment() -> None:
    """Definition: a quarter of the dynamic pressure lost is a quarter of the air's moment lost."""
    weightless = {f"{flap}_mass": 0.0 for flap in FLAPS}
    free, wake = (
        float(one("middle_flap_closing_moment", **weightless, wake_loss_rear=loss)) for loss in (0.0, 0.25)
    )
    assert wake == pytest.approx(0.75 * free)
