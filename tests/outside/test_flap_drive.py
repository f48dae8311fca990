"""Servo at its voltage, play and give, twist, divergence and flutter of an element."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import approx_fprime, brentq

from tests.checking import checks
from tests.mechanism_help import DEGREE, MM, ask, one

DRIVE = {
    "servo_play": 0.8 * DEGREE,
    "servo_stiffness": 6.0,
    "lower_flap_rod_play": 0.12 * MM,
    "middle_flap_rod_play": 0.12 * MM,
    "upper_flap_rod_play": 0.12 * MM,
}


@checks("servo_available_torque", "servo_no_load_speed")
def test_a_servo_on_a_weak_supply() -> None:
    """Value from memory: circuit of a direct-current motor behind gears, free speed V/K.

    Stall torque K V/R.
    """
    constant, winding, supply, label, battery = 0.2, 2.5, 0.6, 6.0, 5.2
    motor = {"servo_stall_torque": constant * label / winding, "servo_derating": 1.0}
    motor["servo_sixty_degree_time"] = np.pi / 3 / (label / constant)
    weak = {
        "servo_supply_share": battery / label,
        "servo_supply_sag": supply / (winding + supply),
    }
    found = ask("servo_available_torque", "servo_no_load_speed", **motor, **weak)
    assert float(found["servo_available_torque"]) == pytest.approx(constant * battery / (winding + supply))
    assert float(found["servo_no_load_speed"]) == pytest.approx(battery / constant)
    # Against an even load the speed is (V - I R)/K all along the travel, with the current load/K.
    load = {"servo_air_torque": 0.0, "servo_friction_torque": 0.03}
    current = 0.03 / constant
    speed = (battery - current * (winding + supply)) / constant
    travel = abs(float(one("servo_travel")))
    assert float(one("closing_time", **motor, **weak, **load)) == pytest.approx(travel / speed, rel=1e-9)


@checks("closing_time")
def test_a_weak_supply_slows_the_way_shut() -> None:
    """Independent solver: solve_ivp on the motor's circuit under the load at each angle, event at the end."""
    constant, winding, supply, label, battery = 0.2, 2.5, 0.6, 6.0, 5.0
    servo = {
        "servo_stall_torque": constant * label / winding,
        "servo_derating": 1.0,
        "servo_sixty_degree_time": np.pi / 3 / (label / constant),
        "servo_supply_share": battery / label,
        "servo_supply_sag": supply / (winding + supply),
    }
    travel = float(one("servo_travel"))
    turned = np.linspace(0, abs(travel), 121)
    angles = float(one("servo_angle_closed")) + travel - np.sign(travel) * turned
    loads = np.maximum(one("servo_closing_torque", servo_angle=angles), 0)

    def rate(_: float, turn: np.ndarray) -> list[float]:
        current = np.interp(turn[0], turned, loads) / constant
        return [(battery - current * (winding + supply)) / constant]

    def shut(_: float, turn: np.ndarray) -> float:
        return float(turn[0] - abs(travel))

    shut.terminal = True  # type: ignore[attr-defined]
    exact = solve_ivp(rate, (0, 5), [0.0], events=shut, rtol=1e-8, max_step=1e-3)
    found = float(one("closing_time", **servo))
    assert found == pytest.approx(exact.t_events[0][0], rel=1e-3)
    full = float(one("closing_time", **servo | {"servo_supply_share": 1.0, "servo_supply_sag": 0.0}))
    assert found > 1.15 * full


@checks("commanded_closing_time", "fail_safe_closing_time")
def test_delays_come_on_top() -> None:
    """Common practice, no source: radio or receiver wait first, then the servo turns.

    The car goes on meanwhile.
    """
    names = ("closing_time", "commanded_closing_time", "fail_safe_closing_time", "fail_safe_closing_distance")
    found = ask(*names, radio_delay=0.02, fail_safe_hold=0.5)
    assert found["commanded_closing_time"] - found["closing_time"] == pytest.approx(0.02)
    assert found["fail_safe_closing_time"] - found["closing_time"] == pytest.approx(0.5)
    assert found["fail_safe_closing_distance"] == pytest.approx(50.0 * found["fail_safe_closing_time"])


@pytest.mark.parametrize("flap", ["lower_flap", "middle_flap", "upper_flap"])
@checks("element_drive_stiffness", "element_play")
def test_play_and_stiffness_by_turning_the_linkage(flap: str) -> None:
    """Value from memory: virtual work; the horn turned a little by hand, the rod made a little longer."""
    here, small = 160 * DEGREE, 1e-6
    turned = [float(one(f"{flap}_angle", servo_angle=here + step)) for step in (-small, small)]
    length = float(one(f"{flap}_rod_length", servo_angle=here))
    longer = [
        float(one(f"{flap}_angle", servo_angle=here, **{f"{flap}_rod_length": length + step * MM}))
        for step in (-small, small)
    ]
    by_horn = abs(turned[1] - turned[0]) / (2 * small)
    by_rod = abs(longer[1] - longer[0]) / (2 * small * MM)
    play = float(one(f"{flap}_play", servo_angle=here, **DRIVE))
    assert play == pytest.approx(0.8 * DEGREE * by_horn + 0.12 * MM * by_rod, rel=1e-6)
    # A moment of 1 N m pushes the rod with by_rod newtons per metre, and turns the servo with by_horn.
    rod = 200e9 * np.pi / 4 * (1.2 * MM) ** 2 / length
    give = by_horn**2 / 6.0 + by_rod**2 / rod
    assert float(one(f"{flap}_drive_stiffness", servo_angle=here, **DRIVE)) == pytest.approx(
        1 / give, rel=1e-6
    )


@checks("element_give", "element_hysteresis")
def test_the_air_keeps_play_on_one_side() -> None:
    """Value from memory: play and dry friction.

    An element pressed harder than its pivots rub comes to rest at one end of its play.
    """
    names = ("lower_flap_hysteresis", "lower_flap_play", "lower_flap_drive_stiffness", "lower_flap_give")
    pressed, slack = (ask(*names, **DRIVE, speed=speed) for speed in (50.0, 1.0))
    rubbing = 2 * 1.5e-3 / float(pressed["lower_flap_drive_stiffness"])
    assert float(pressed["lower_flap_hysteresis"]) == pytest.approx(rubbing, rel=1e-12)
    assert float(slack["lower_flap_hysteresis"]) == pytest.approx(rubbing + float(slack["lower_flap_play"]))
    moment = float(one("lower_flap_closing_moment"))
    assert float(pressed["lower_flap_give"] * pressed["lower_flap_drive_stiffness"]) == pytest.approx(moment)
    assert float(one("largest_play", **DRIVE)) >= float(pressed["lower_flap_play"])


def test_an_aerofoil_is_softer_than_the_plate_around_it() -> None:
    """Source: Abbott & von Doenhoff, Theory of Wing Sections, eq. 6.2, NACA four-digit thickness.

    The cube of it integrated by scipy's quad.
    """

    def thickness(x: float) -> float:
        return 10 * (0.2969 * x**0.5 - 0.126 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)

    share = quad(lambda x: thickness(x) ** 3, 0, 1)[0]
    assert share == pytest.approx(0.47, abs=0.005)
    solid = float(one("lower_flap_second_moment", lower_flap_section_share=share))
    assert solid == pytest.approx(share / 12 * 30 * MM * (3 * MM) ** 3, rel=1e-12, abs=0)
    assert solid / (30 * MM * (3 * MM) ** 3) == pytest.approx(0.0394, abs=2e-4)


@checks("element_twist")
def test_twist_of_a_bar_under_an_even_moment() -> None:
    """Independent library: numpy.trapezoid of the torque along the span.

    All of it carried at the driven end.
    """
    moment = float(one("lower_flap_closing_moment"))
    shear, constant = 25e9 / 2.7, 30 * MM * (3 * MM) ** 3 / 3
    places = np.linspace(0, 248 * MM, 4001)
    torque = 1.4 * moment * (1 - places / places[-1])
    expected = np.trapezoid(torque / (shear * constant), places)
    assert float(one("lower_flap_twist", load_factor=1.4)) == pytest.approx(expected, rel=1e-6)
    assert float(one("largest_twist", load_factor=1.4)) >= abs(expected)


@checks("element_moment_slope_volume")
def test_slope_of_the_hinge_moment_by_differences() -> None:
    """Independent solver: approx_fprime on the moment over the incidence that the opening stands for."""
    pressure = 0.6 * 50.0**2

    def moment(opening: np.ndarray) -> float:
        return float(one("upper_flap_closing_moment", upper_flap_opening=opening.item(), upper_flap_mass=0.0))

    slope = approx_fprime(np.array([0.3]), moment, 1e-7)[0] / (-48 * DEGREE)
    found = float(one("upper_flap_moment_slope_volume", upper_flap_opening=0.3))
    assert found * pressure == pytest.approx(slope, rel=1e-6)


@checks("element_divergence_speed")
def test_divergence_is_found_on_the_safe_side() -> None:
    """Independent solver: brentq on x tan x = K L/(G J), a bar on a spring; the guess lies just below."""
    volume, drive, bending = 4e-6, 0.9, 0.35
    for ratio in (0.1, 1.0, 10.0):
        root = brentq(lambda x, ratio=ratio: x * np.tan(x) - ratio, 1e-6, np.pi / 2 - 1e-9)
        shear = {"lower_flap_shear_modulus": drive * 0.248 / (ratio * bending * 1e-9)}
        shear["lower_flap_torsion_constant"] = bending * 1e-9
        exact = np.sqrt(2 * root**2 * (drive / ratio) / volume / 1.2)
        found = float(
            one(
                "lower_flap_divergence_speed",
                lower_flap_drive_stiffness=drive,
                lower_flap_moment_slope_volume=volume,
                speed_cap=1e4,
                **shear,
            )
        )
        assert 0.92 * exact < found < exact * (1 + 1e-9)


def _swings(pressure: float, masses: np.ndarray, stiffness: np.ndarray, air: np.ndarray) -> float:
    """Growth of the fastest growing motion of two freedoms: eigenvalues of the first-order system."""
    system = np.zeros((4, 4))
    system[:2, 2:] = np.eye(2)
    system[2:, :2] = -np.linalg.solve(masses, stiffness - pressure * air)
    return float(np.max(np.linalg.eigvals(system).real))


@pytest.mark.parametrize("unbalance", [0.15, 0.3])
@checks("element_flutter_speed", "element_pivot_inertia")
def test_flutter_against_eigenvalues(unbalance: float) -> None:
    """Independent solver: numpy.linalg.eigvals of the same two freedoms, shapes integrated by scipy."""
    mass, chord, area, slope = 0.024, 0.03, 0.03 * 0.248, 2.5
    soft, turning = 4000.0, 0.5
    shape = quad(lambda x: np.sin(np.pi * x), 0, 1)[0]
    square = quad(lambda x: np.sin(np.pi * x) ** 2, 0, 1)[0]
    static = mass * chord * unbalance
    inertia = mass * chord**2 * (1 / 12 + unbalance**2)
    masses = np.array([[mass * square, -static * shape], [-static * shape, inertia]])
    stiffness = np.diag([soft, turning])
    moment = 1e-6
    air = np.array([[0.0, area * slope * shape], [0.0, moment]])
    low, high = 1.0, 1e6
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if _swings(middle, masses, stiffness, air) > 1e-3 else (middle, high)
    names = ("lower_flap_unbalance", "lower_flap_pivot_inertia", "lower_flap_flutter_speed")
    found = ask(
        *names,
        lower_flap_mass_fraction=0.5 + unbalance,
        lower_flap_bending_stiffness=soft,
        lower_flap_turning_stiffness=turning,
        lower_flap_force_slope_area=area * slope,
        lower_flap_moment_slope_volume=moment,
        speed_cap=1e4,
    )
    assert float(found["lower_flap_unbalance"]) == pytest.approx(static, rel=1e-12)
    assert float(found["lower_flap_pivot_inertia"]) == pytest.approx(inertia, rel=1e-12)
    assert float(found["lower_flap_flutter_speed"]) == pytest.approx(np.sqrt(2 * low / 1.2), rel=1e-4)


def test_mass_balance_keeps_flutter_away() -> None:
    """Common practice, no source: mass ahead of the pivot, and the two do not feed each other."""
    given = {"lower_flap_turning_stiffness": 0.5, "lower_flap_moment_slope_volume": -1e-6, "speed_cap": 300.0}
    ahead = one("lower_flap_flutter_speed", lower_flap_mass_fraction=0.45, **given)
    behind = one("lower_flap_flutter_speed", lower_flap_mass_fraction=0.8, **given)
    assert float(ahead) == 300.0
    assert float(behind) < 300.0


@checks("element_bending_stiffness")
def test_bending_of_the_first_mode() -> None:
    """Source: Rao, Mechanical Vibrations, ch. 8: first frequency of an even beam, pinned.

    That is pi^2 sqrt(E I/(m L^3)).
    """
    stiffness = float(one("lower_flap_bending_stiffness"))
    inertia = 30 * MM * (3 * MM) ** 3 / 12
    frequency = np.pi**2 * np.sqrt(25e9 * inertia / (0.024 * (248 * MM) ** 3))
    assert np.sqrt(stiffness / (0.024 / 2)) == pytest.approx(frequency, rel=1e-9)
    # Built in at both ends: 4.730^2 in place of pi^2.
    held = float(one("lower_flap_bending_stiffness", lower_flap_end_fixity=1.0))
    assert np.sqrt(held / stiffness) == pytest.approx(4.730**2 / np.pi**2, rel=0.02)


@checks("element_air_damping")
def test_the_air_damps_a_pivot_ahead_of_mid_chord() -> None:
    """Value from memory: Theodorsen's force and moment for slow oscillation, term by term."""
    half, speed = 15 * MM, 50.0
    for fraction in (0.25, 0.5, 0.65, 0.9):
        behind = 2 * fraction - 1
        at_once = np.pi * 1.2 * speed * half**3 * (0.5 - behind)
        by_lift = 2 * np.pi * 1.2 * speed * half**2 * (behind + 0.5) * half * (0.5 - behind)
        found = float(one("lower_flap_air_damping", lower_flap_pivot_fraction=fraction))
        assert found == pytest.approx((at_once - by_lift) * 248 * MM, rel=1e-9, abs=1e-12)
