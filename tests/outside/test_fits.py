"""Fits against certified and published values, and against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from explorer.logs.fitting.coast_down import CoastDownRun, coasting_speed, fit_coast_down
from explorer.logs.fitting.derived import Derived, derived
from explorer.logs.fitting.fit import Fit, Known
from explorer.logs.fitting.least_squares import fit_curve
from explorer.logs.fitting.problem import Observations, Parameter
from explorer.logs.fitting.readings import fit_readings

# NIST Statistical Reference Datasets, Misra1a (dental research, exponential), certified values and data.
MISRA1A_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
MISRA1A_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]

# NIST StRD, DanWood (energy radiated from a carbon filament lamp, power law).
DANWOOD_X = [1.309, 1.471, 1.490, 1.565, 1.611, 1.680]
DANWOOD_Y = [2.138, 3.421, 3.597, 4.340, 4.882, 5.660]

# NIST StRD, Pontius (load cell calibration, quadratic): loads 150 000 to 3 000 000, twice.
PONTIUS_X = [150_000.0 * step for step in range(1, 21)] * 2
PONTIUS_Y = [
    *(0.11019, 0.21956, 0.32949, 0.43899, 0.54803, 0.65694, 0.76562, 0.87487, 0.98292, 1.09146),
    *(1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844),
    *(0.11052, 0.22018, 0.32939, 0.43886, 0.54798, 0.65739, 0.76596, 0.87474, 0.98300, 1.09150),
    *(1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829),
]


def observed(x: list[float], y: list[float]) -> Observations:
    # The certified deviations take the rows as independent, so each is a run of its own.
    runs = np.arange(len(x))
    return Observations.single(np.array(y), np.array(x), name="y", unit="1", abscissa_name="x", run=runs)


@pytest.mark.parametrize("start", [(500.0, 1e-4), (250.0, 5e-4)], ids=["far start", "near start"])
def test_exponential_of_nist(start: tuple[float, float]) -> None:
    """Source: NIST Statistical Reference Datasets, page Misra1a, certified values."""
    x = np.array(MISRA1A_X)
    fit = fit_curve(
        lambda b, _: b[0] * (1 - np.exp(-b[1] * x)),
        observed(MISRA1A_X, MISRA1A_Y),
        [Parameter("b1", "1", start[0]), Parameter("b2", "1", start[1])],
        kind="certified exponential",
        loss="linear",
    )
    assert fit.estimates == pytest.approx([2.3894212918e2, 5.5015643181e-4], rel=1e-7)
    assert fit.standard_uncertainties == pytest.approx([2.7070075241, 7.2668688436e-6], rel=1e-6)
    assert fit.residual_sd[0] == pytest.approx(1.0187876330e-1, rel=1e-8)


@pytest.mark.parametrize("start", [(1.0, 5.0), (0.7, 4.0)], ids=["far start", "near start"])
def test_power_law_of_nist(start: tuple[float, float]) -> None:
    """Source: NIST Statistical Reference Datasets, page DanWood, certified values."""
    x = np.array(DANWOOD_X)
    fit = fit_curve(
        lambda b, _: b[0] * x ** b[1],
        observed(DANWOOD_X, DANWOOD_Y),
        [Parameter("b1", "1", start[0]), Parameter("b2", "1", start[1])],
        kind="certified power law",
    )
    assert fit.estimates == pytest.approx([7.6886226176e-1, 3.8604055871], rel=1e-7)
    assert fit.standard_uncertainties == pytest.approx([1.8281973860e-2, 5.1726610913e-2], rel=1e-6)
    assert fit.residual_sd[0] == pytest.approx(3.2853114039e-2, rel=1e-8)
    assert fit.degrees_of_freedom == pytest.approx(4)


def test_quadratic_of_nist() -> None:
    """Source: NIST Statistical Reference Datasets, page Pontius, certified values."""
    x = np.array(PONTIUS_X)
    fit = fit_curve(
        lambda b, _: b[0] + b[1] * x + b[2] * x**2,
        observed(PONTIUS_X, PONTIUS_Y),
        [Parameter("B0", "1", 0.0, 1e-3), Parameter("B1", "1", 0.0, 1e-6), Parameter("B2", "1", 0.0, 1e-14)],
        kind="certified quadratic",
        loss="linear",
    )
    certified = [0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14]
    spread = [0.107938612033077e-3, 0.157817399981659e-9, 0.486652849992036e-16]
    assert fit.estimates == pytest.approx(certified, rel=1e-7)
    assert fit.standard_uncertainties == pytest.approx(spread, rel=1e-6)
    assert fit.residual_sd[0] == pytest.approx(0.205177424076185e-3, rel=1e-8)


# JCGM 100:2008 H.2, simultaneous resistance and reactance: five sets of voltage, current and phase (table
# H.2).  The readings are from memory; they reproduce the printed means, uncertainties and correlations.
VOLTAGE = [5.007, 4.994, 5.005, 4.990, 4.999]
CURRENT = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def resistance_readings() -> Fit:
    readings = {"V": np.array(VOLTAGE), "I": np.array(CURRENT), "phi": np.array(PHASE)}
    return fit_readings(readings, {"V": "V", "I": "A", "phi": "rad"})


def test_correlated_readings_of_jcgm_100_h2() -> None:
    """Source: JCGM 100:2008, H.2, table H.2: means, uncertainties and correlations of the readings."""
    fit = resistance_readings()
    assert fit.estimates == pytest.approx([4.9990, 19.6610e-3, 1.04446], abs=5e-6)
    assert fit.standard_uncertainties == pytest.approx([3.2e-3, 9.5e-6, 7.5e-4], rel=0.01)
    r = fit.correlation
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.36, 0.86, -0.65], abs=0.006)


def test_correlated_results_of_jcgm_100_h2() -> None:
    """Source: JCGM 100:2008, H.2, table H.4: values, uncertainties and correlations of the results."""
    results = derived(
        resistance_readings(),
        {
            "R": Derived("ohm", lambda of: of["V"] / of["I"] * math.cos(of["phi"])),
            "X": Derived("ohm", lambda of: of["V"] / of["I"] * math.sin(of["phi"])),
            "Z": Derived("ohm", lambda of: of["V"] / of["I"]),
        },
    )
    # Printed in table H.4: values to three decimals, uncertainties to three, correlations to three.
    assert results.estimates == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    assert results.standard_uncertainties == pytest.approx([0.071, 0.295, 0.236], abs=1.1e-3)
    r = results.correlation
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=2e-3)


# Reference car of the coast-down checks: 6 kg, rotating factor 1.05, drag area 0.012 m2, rolling resistance
# 0.015, density 1.2 kg/m3.  Closed form v = sqrt(F0/C) tan(...), coast-down mathematics of SAE J1263 / J2263.
SQUARE = np.asarray(1.2 * 0.012 / (2 * 6 * 1.05))
CONSTANT = np.asarray(9.80665 * 0.015 / 1.05)


def test_coast_down_against_its_closed_form() -> None:
    """Source: coast-down mathematics of SAE J1263, section on data analysis; numbers recomputed."""
    times = np.array([0.0, 5.0, 10.0, 20.0, 18.616])
    speeds = coasting_speed(times, np.asarray(40.0), SQUARE, CONSTANT)
    assert speeds == pytest.approx([40.0, 31.979, 26.440, 19.199, 20.0], abs=6e-4)
    travel = np.linspace(0.0, 18.616, 2001)
    distance = np.trapezoid(coasting_speed(travel, np.asarray(40.0), SQUARE, CONSTANT), travel)
    assert distance == pytest.approx(521.85, abs=0.01)


def test_a_coast_down_log_of_the_closed_form_gives_the_car_back() -> None:
    """Source: coast-down mathematics of SAE J1263, section on data analysis, as a log without noise."""
    time = np.array([0.0, 2.5, 5.0, 7.5, 10.0, 12.5, 15.0, 17.5, 20.0])
    root, reach = math.sqrt(CONSTANT / SQUARE), math.sqrt(CONSTANT * SQUARE)
    speed = root * np.tan(math.atan(40 / root) - reach * time)
    still = [Known("headwind", 0.0, 0.0, "m/s"), Known("grade", 0.0, 0.0, "rad")]
    fit = fit_coast_down(
        [CoastDownRun(time, speed)],
        mass=Known("mass", 6.0, 0.0, "kg"),
        rotating_mass_factor=Known("rotating_mass_factor", 1.05, 0.0, "1"),
        air_density=Known("air_density", 1.2, 0.0, "kg/m3"),
        headwind=still[0],
        grade=still[1],
    )
    assert fit.estimates == pytest.approx([0.012, 0.015], rel=1e-6)


def test_a_coast_down_with_rolling_resistance_that_grows_with_speed() -> None:
    """Independent solver: solve_ivp of runs both ways in a wind, with a term in the speed over the ground."""
    drag, rolling, growth, wind = 0.012, 0.015, 3e-4, 1.5
    times = np.linspace(0.0, 14.0, 140)
    runs = []
    for direction in (1, -1):

        def slowing(_: float, speed: np.ndarray, direction: int = direction) -> np.ndarray:
            air = 0.6 * drag * (speed + direction * wind) ** 2
            return -(air + (rolling + growth * speed) * 6.0 * 9.80665) / (6.0 * 1.05)

        solved = solve_ivp(slowing, (0.0, 14.0), [40.0], t_eval=times, rtol=1e-10, atol=1e-10)
        runs.append(CoastDownRun(times, solved.y[0], 1 if direction == 1 else -1))
    fit = fit_coast_down(
        runs,
        mass=Known("mass", 6.0, 0.0, "kg", "test"),
        rotating_mass_factor=Known("rotating_mass_factor", 1.05, 0.0, "1", "test"),
        air_density=Known("air_density", 1.2, 0.0, "kg/m3", "test"),
        rolling_resistance_per_speed=Known("rolling_resistance_per_speed", growth, 0.0, "s/m", "test"),
    )
    assert fit.value("drag_area") == pytest.approx(drag, rel=1e-4)
    assert fit.value("rolling_resistance") == pytest.approx(rolling, rel=1e-3)
    assert fit.log_values["headwind"][0] == pytest.approx(wind, rel=1e-3)
