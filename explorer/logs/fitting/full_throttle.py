"""Full-throttle runs: power at the wheels and efficiency of the drive, from the speed a car gains.

The speed log is never differentiated and never summed up: the equation of motion is stepped forward from the
first speed and laid over the log, d(m k v^2 / 2)/dt = P - R v.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from explorer.errors import TableError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.coast_down import GRAVITY, NO_DOWNFORCE
from explorer.logs.fitting.fit import Fit, Known, combined_degrees_of_freedom
from explorer.logs.fitting.independence import neighbour_scatter, without_dropouts
from explorer.logs.fitting.least_squares import Loss, fit_curve
from explorer.logs.fitting.problem import Observations, Parameter
from explorer.logs.fitting.scatter import OUTLIER_LIMIT

FEWEST_ROWS = 10
# Steps of the equation of motion; a run is smooth over a sixtieth of its length.
MOST_STEPS = 60
# Modes of a random walk that are followed; they hold 97.5 % of its variance.
WANDER_MODES = 8
NO_WIND = Known("headwind", 0.0, 0.0, "m/s", "taken as none")
LEVEL_TRACK = Known("grade", 0.0, 0.0, "rad", "taken as level")

# Power at a step and a speed, and how it follows from the parameters.
Push: TypeAlias = Callable[[int, float], float]
Drive: TypeAlias = Callable[[Array], Push]


@dataclass(frozen=True)
class ThrottleRun:
    """One run at full throttle; arrays of shape (rows,), in SI units.

    ``electrical_power`` is voltage times current at the battery, or None when it was not logged.
    """

    time: Array
    speed: Array
    electrical_power: Array | None = None
    source: Source | None = None


@dataclass(frozen=True)
class Resistance:
    """What holds the car back, taken from elsewhere, as from coast-downs.

    ``correlation`` is that of drag area and rolling resistance.
    """

    mass: Known
    rotating_mass_factor: Known
    air_density: Known
    drag_area: Known
    rolling_resistance: Known
    headwind: Known = NO_WIND
    grade: Known = LEVEL_TRACK
    downforce_area: Known = NO_DOWNFORCE
    gravity: Known = GRAVITY
    correlation: float = 0.0

    @property
    def known(self) -> tuple[Known, ...]:
        """All of them, drag area and rolling resistance first."""
        return (
            self.drag_area,
            self.rolling_resistance,
            self.mass,
            self.rotating_mass_factor,
            self.air_density,
            self.headwind,
            self.grade,
            self.downforce_area,
            self.gravity,
        )

    @property
    def known_correlation(self) -> Array:
        """Correlation matrix in the same order."""
        matrix = np.eye(len(self.known))
        matrix[0, 1] = matrix[1, 0] = self.correlation
        return matrix


def fit_wheel_power(
    run: ThrottleRun, resistance: Resistance, *, knots: Sequence[float] = (), loss: Loss = "auto"
) -> Fit:
    """Fit the power that reaches the road.

    Parameters
    ----------
    run:
        From throttle open to throttle closed.
    resistance:
        What the power works against besides inertia.
    knots:
        Speeds [m/s] between which the power is drawn as straight lines; without any, one power for all.

    Returns
    -------
    Fit
        ``wheel_power``, or ``wheel_power_at_<speed>`` for each knot.

    Raises
    ------
    TableError
        With too few rows, or knots outside the speeds of the run.
    """
    check_run(run)
    _check_knots(run, knots)
    places = [float(knot) for knot in knots]

    def drive(values: Array) -> Push:
        powers = values.tolist()
        if not places:
            return lambda _, __: float(powers[0])
        return lambda _, speed: float(np.interp(speed, places, powers))

    guess = _mean_power(run, resistance)
    names = [f"wheel_power_at_{place:g}" for place in places] or ["wheel_power"]
    return _fit_power(
        run,
        resistance,
        drive,
        [Parameter(name, "W", guess, low=0.0) for name in names],
        loss,
        ("the power is that at the road: shaft power and drive efficiency are not separated by speed alone",),
        np.zeros((0, len(run.time))),
    )


def fit_drive_efficiency(run: ThrottleRun, resistance: Resistance, *, loss: Loss = "auto") -> Fit:
    """Fit the share of the battery's power that reaches the road.

    Returns
    -------
    Fit
        ``drive_efficiency``, from battery to road.

    Raises
    ------
    TableError
        With too few rows, or without electrical power.
    """
    check_run(run)
    from scipy.integrate import cumulative_trapezoid  # takes its time to load, which a check need not

    if run.electrical_power is None:
        raise TableError(
            "the efficiency needs the battery's power",
            file=run.source.file if run.source else None,
            key="columns",
            allowed="voltage and current beside speed",
            remedy="log them, or fit the power at the wheels instead",
        )
    power = _without_dropouts(run.electrical_power)
    nodes = _nodes(run)
    work = cumulative_trapezoid(power, run.time, initial=0)[nodes]
    # The mean over each step, so that no logged row goes unused.
    means = (np.diff(work) / np.diff(run.time[nodes])).tolist()

    def drive(values: Array) -> Push:
        share = float(values[0])
        return lambda step, _: share * means[step]

    guess = float(np.clip(_mean_power(run, resistance) / max(float(np.mean(power)), 1e-9), 0.05, 1.0))
    return _fit_power(
        run,
        resistance,
        drive,
        [Parameter("drive_efficiency", "1", guess, low=0.0)],
        loss,
        ("the efficiency is that from the battery to the road, motor and controller included",),
        _wander(run, power),
    )


def _fit_power(
    run: ThrottleRun,
    resistance: Resistance,
    drive: Drive,
    parameters: Sequence[Parameter],
    loss: Loss,
    notes: tuple[str, ...],
    wander: Array,
) -> Fit:
    """Fit the speed that some power leads to; ``wander`` is what a unit of the first parameter may add."""
    nodes = _nodes(run)
    known = (*resistance.known, *(_wander_mode(number) for number in range(len(wander))))
    own = len(resistance.known)
    correlation = np.eye(len(known))
    correlation[:own, :own] = resistance.known_correlation
    first = Parameter("first_speed", "m/s", float(_without_dropouts(run.speed)[0]), of_log=True)
    steps = np.diff(wander[:, nodes], axis=1) / np.diff(run.time[nodes])

    from scipy.interpolate import PchipInterpolator  # takes its time to load, which a check need not

    def predict(values: Array, known_values: Array) -> Array:
        of = {each.name: float(value) for each, value in zip(known, known_values, strict=True)}
        wandering = (values[0] * (known_values[own:] @ steps)).tolist() if known_values[own:].any() else []
        push = drive(values[:-1])

        def pushed(step: int, speed: float) -> float:
            return push(step, speed) + float(wandering[step])

        energies = _energies(run.time[nodes], pushed if wandering else push, float(values[-1]), of)
        reached = PchipInterpolator(run.time[nodes], energies)(run.time)
        return np.asarray(np.sqrt(2 * np.maximum(reached, 0.0) / _inertia(of)))

    fit = fit_curve(
        predict,
        Observations.single(run.speed, run.time, name="speed", unit="m/s", abscissa_name="time"),
        [*parameters, first],
        kind="full-throttle run",
        known=known,
        known_correlation=correlation,
        loss=loss,
        sources=[run.source] if run.source else (),
        notes=notes,
    )
    return _with_wander_as_scatter(fit, own)


def _nodes(run: ThrottleRun) -> npt.NDArray[np.int_]:
    """Rows at which the equation of motion is stepped: all of a short run, some of a long one."""
    return np.unique(np.linspace(0, len(run.time) - 1, MOST_STEPS + 1).round().astype(int))


def _energies(time: Array, push: Push, first: float, of: Mapping[str, float]) -> Array:
    """Kinetic energy at the nodes [J]: dE/dt = P - R v by the classical Runge-Kutta method.

    Plain numbers, since each step waits for the one before.
    """
    half_inertia, wind = _inertia(of) / 2, of["headwind"]
    square, constant = _resistance_terms(of)

    def gain(step: int, energy: float) -> float:
        speed = math.sqrt(max(energy, 0.0) / half_inertia)
        return push(step, speed) - (square * (speed + wind) ** 2 + constant) * speed

    energies = [half_inertia * float(first) ** 2]
    for step, span in enumerate(np.diff(time).tolist()):
        energy = energies[-1]
        one = gain(step, energy)
        two = gain(step, energy + span / 2 * one)
        three = gain(step, energy + span / 2 * two)
        four = gain(step, energy + span * three)
        energies.append(energy + span / 6 * (one + 2 * two + 2 * three + four))
    return np.array(energies)


def _inertia(of: Mapping[str, float]) -> float:
    return of["mass"] * of["rotating_mass_factor"]


def _wander(run: ThrottleRun, power: Array) -> Array:
    """How far summing up a noisy power may wander: modes of a random walk [J], shape (modes, rows).

    Source: Karhunen-Loeve expansion of Brownian motion, its clock running with the variance summed up.
    """
    clock = np.cumsum((neighbour_scatter(power) * np.diff(run.time, prepend=run.time[0])) ** 2)
    if not clock[-1] > 0:
        return np.zeros((0, len(power)))
    orders = (np.arange(WANDER_MODES) + 0.5) * math.pi
    waves = np.sin(np.outer(orders, clock / clock[-1])) / orders[:, None]
    return np.asarray(math.sqrt(2 * float(clock[-1])) * waves)


def _wander_mode(number: int) -> Known:
    return Known(f"wander_{number}", 0.0, 1.0, "1", "noise of the logged power, summed up")


def _with_wander_as_scatter(fit: Fit, known: int) -> Fit:
    """Count what the log's own noise does through the sums as scatter, not as something known."""
    modes = fit.known[known:]
    shifts = np.array([fit.contributions[each.name] for each in modes]).reshape(len(modes), len(fit.names))
    scatter = fit.scatter_covariance + shifts.T @ shifts
    freedom = float(np.min(fit.degrees_of_freedom))
    correlation = None if fit.known_correlation is None else fit.known_correlation[:known, :known]
    return replace(
        fit,
        scatter_covariance=scatter,
        degrees_of_freedom=combined_degrees_of_freedom(scatter, fit.covariance, freedom),
        contributions={each.name: fit.contributions[each.name] for each in fit.known[:known]},
        known=fit.known[:known],
        known_correlation=correlation,
    )


def _resistance_terms(of: Mapping[str, float]) -> tuple[float, float]:
    """Resistance [N] over airspeed squared, and its constant part: drag, rolling resistance and slope."""
    area = of["drag_area"] + of["rolling_resistance"] * of["downforce_area"]
    weight = of["mass"] * of["gravity"]
    return of["air_density"] * area / 2, weight * (of["rolling_resistance"] + math.sin(of["grade"]))


def _mean_power(run: ThrottleRun, resistance: Resistance) -> float:
    """Power that about explains the first and last speed, as a place to start from."""
    of = {each.name: each.value for each in resistance.known}
    square, constant = _resistance_terms(of)
    speed = _without_dropouts(run.speed)
    lost = float(np.mean((square * (speed + of["headwind"]) ** 2 + constant) * speed))
    gained = _inertia(of) * float(speed[-1] ** 2 - speed[0] ** 2) / 2 / float(np.ptp(run.time))
    return max(gained + lost, 1.0)


def _without_dropouts(values: Array) -> Array:
    """Put the local median in place of rows far from it (Hampel filter); all others stay as logged."""
    middle = without_dropouts(values)
    distance = np.abs(values - middle)
    limit = OUTLIER_LIMIT * max(neighbour_scatter(values), 1e-9 * float(np.max(np.abs(values))))
    return np.asarray(np.where(distance > limit, middle, values))


def check_run(run: ThrottleRun) -> None:
    """Raise TableError when a run has too few rows."""
    if len(run.time) < FEWEST_ROWS:
        raise TableError(
            "the full-throttle run is too short",
            file=run.source.file if run.source else None,
            found=f"{len(run.time)} rows",
            allowed=f"at least {FEWEST_ROWS}",
            remedy="log faster, or a longer run",
        )


def _check_knots(run: ThrottleRun, knots: Sequence[float]) -> None:
    slowest, fastest = float(np.min(run.speed)), float(np.max(run.speed))
    outside = [knot for knot in knots if not slowest <= knot <= fastest]
    if outside or list(knots) != sorted(set(knots)):
        raise TableError(
            "the power can be found only at speeds the run went through",
            file=run.source.file if run.source else None,
            key="knots",
            found=", ".join(f"{knot:g}" for knot in knots),
            allowed=f"rising speeds between {slowest:.3g} and {fastest:.3g} m/s",
            remedy="choose knots inside the run",
        )
