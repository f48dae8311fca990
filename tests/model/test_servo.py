"""The servo: virtual work against finite differences and energy, times against closed forms, stalling."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from tests.mechanism_help import DEGREE, FLAPS, ask, evaluate, one

MOMENTS = tuple(f"{flap}_closing_moment" for flap in FLAPS)
ANGLES = tuple(f"{flap}_angle" for flap in FLAPS)


@pytest.mark.parametrize("opening", [0.0, 0.3, 0.8])
def test_torque_is_the_work_of_a_small_turn(opening: float) -> None:
    small = 1e-5
    here = (185 - 60 * opening) * DEGREE
    before, after = (ask(*ANGLES, servo_angle=here + step) for step in (-small, small))
    moments = ask(*MOMENTS, servo_angle=here)
    work = sum(
        float(moments[moment]) * (float(after[angle]) - float(before[angle]))
        for moment, angle in zip(MOMENTS, ANGLES, strict=True)
    )
    assert float(one("servo_air_torque", servo_angle=here)) == pytest.approx(work / (2 * small), rel=1e-7)


def test_energy_put_in_is_energy_that_comes_out() -> None:
    """Over the whole travel: the servo's work against the air is the moments' work over their own angles."""
    servo = quad(lambda angle: float(one("servo_air_torque", servo_angle=angle)), 125 * DEGREE, 185 * DEGREE)[
        0
    ]
    elements = sum(
        quad(
            lambda share, flap=flap: float(one(f"{flap}_closing_moment", **{f"{flap}_opening": share})), 0, 1
        )[0]
        * -float(one(f"{flap}_travel"))
        for flap in FLAPS
    )
    assert servo == pytest.approx(elements, rel=1e-8)


def test_air_that_closes_must_be_overcome_to_open() -> None:
    names = ("servo_opening_torque", "servo_closing_torque", "servo_friction_torque", "servo_working_torque")
    opening, closing, friction, working = (float(value) for value in ask(*names).values())
    assert opening > 0 > closing
    assert opening + closing == pytest.approx(2 * friction)
    assert working == pytest.approx(max(opening, closing))


def test_turning_the_drawing_over_changes_no_torque() -> None:
    """The same wing with the servo's horn and every arm on the other side of the rods."""
    mirrored = {
        "servo_angle_closed": (185 - 180) * DEGREE,
        **{
            f"{flap}_arm_angle": (angle - 180) * DEGREE
            for flap, angle in zip(FLAPS, (143, 135, 130), strict=True)
        },
    }
    pushed, pulled = float(one("required_servo_torque")), float(one("required_servo_torque", **mirrored))
    assert pulled == pytest.approx(pushed, rel=0.2)
    assert float(one("lower_flap_largest_rod_pull")) == 0
    assert float(one("lower_flap_largest_rod_pull", **mirrored)) > 1
    assert float(one("lower_flap_largest_rod_push", **mirrored)) == 0


def test_torque_in_hand() -> None:
    shares = np.linspace(0, 1, 121)
    hardest = one("servo_working_torque", flap_opening=shares).max()
    assert float(one("required_servo_torque")) == pytest.approx(hardest, rel=3e-3)
    assert float(one("servo_torque_in_hand", servo_derating=0.5)) == pytest.approx(0.125 - hardest, rel=5e-3)


def _times(load: float, **changes: float) -> list[float]:
    given = {
        "servo_opening_torque": load,
        "servo_closing_torque": load,
        "servo_angle_closed": 0.0,
        "servo_travel": -60 * DEGREE,
        "servo_stall_torque": 0.2,
        "servo_derating": 0.5,
        "servo_sixty_degree_time": 0.1,
        **changes,
    }
    found = evaluate(("opening_time", "closing_time"), given, families={"element": FLAPS})
    return [float(value) for value in found.values()]


def test_times_under_a_steady_load() -> None:
    """Linear line from no-load speed to stall: half the torque, half the speed."""
    assert _times(0.0) == pytest.approx([0.1, 0.1])
    assert _times(0.05) == pytest.approx([0.2, 0.2])
    assert _times(-0.05) == pytest.approx([0.1, 0.1])
    assert _times(0.05, servo_travel=30 * DEGREE) == pytest.approx([0.1, 0.1])


def test_a_servo_that_stalls_has_no_time() -> None:
    assert np.all(np.isnan(_times(0.1)))
    # 2.5 times the speed is over six times the air load: the servo does not open against it, but closes.
    found = ask("opening_time", "closing_time", speed=125.0)
    assert np.isnan(found["opening_time"])
    assert float(found["closing_time"]) == pytest.approx(0.1)


def test_opening_time_by_quadrature() -> None:
    """Simpson's rule on nine places against scipy's adaptive quadrature, at two thirds of stall."""
    available = 0.088

    def slowness(angle: float) -> float:
        load = float(one("servo_opening_torque", servo_angle=angle))
        return 1 / (1 - load / available) / (np.pi / 3 / 0.1)

    exact = quad(slowness, 125 * DEGREE, 185 * DEGREE, epsrel=1e-6)[0]
    found = float(one("opening_time", servo_stall_torque=available, servo_derating=1.0))
    assert found == pytest.approx(exact, rel=2e-3)
