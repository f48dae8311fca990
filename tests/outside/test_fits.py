"""Fits against certified and published values, and against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from explorer.fitting.least_squares import fit_curve
from explorer.fitting.problem import Observations, Parameter

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
