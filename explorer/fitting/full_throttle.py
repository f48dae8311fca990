"""Full-throttle runs: power at the wheels, efficiency of the drive, battery, tyre radius and top speed.

The speed log is never differentiated.  The work of the wheels and of the resistance is summed along the run
and compared with the kinetic energy: d(m k v^2 / 2) = (P - R v) dt.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.integrate import cumulative_trapezoid
from scipy.ndimage import median_filter

from explorer.errors import TableError
from explorer.fitting.coast_down import GRAVITY
from explorer.fitting.fit import Fit, Known, combined_degrees_of_freedom
from explorer.fitting.independence import neighbour_scatter
from explorer.fitting.least_squares import Loss, fit_curve
from explorer.fitting.problem import Observations, Parameter
from explorer.fitting.scatter import OUTLIER_LIMIT
from explorer.logs import Source
from explorer.quantity import Array

FEWEST_ROWS = 10
# Rows of the sliding median that keeps single dropouts out of the sums.
MEDIAN_ROWS = 5
# Modes of a random walk that are followed; they hold 97.5 % of its variance.
WANDER_MODES = 8
NO_DOWNFORCE = Known("downforce_area", 0.0, 0.0, "m2", "none given")
NO_WIND = Known("headwind", 0.0, 0.0, "m/s", "taken as none")
LEVEL_TRACK = Known("grade", 0.0, 0.0, "rad", "taken as level")


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
    _check(run, knots)
    speed = _without_dropouts(run.speed)
    if knots:
        places = np.asarray(knots, dtype=float)
        shapes = np.stack([np.interp(speed, places, each) for each in np.eye(len(places))])
        names = [f"wheel_power_at_{place:g}" for place in places]
    else:
        shapes, names = np.ones((1, len(speed))), ["wheel_power"]
    guess = _mean_power(run, resistance)
    return _fit_work(
        run,
        resistance,
        shapes,
        [Parameter(name, "W", guess, low=0.0) for name in names],
        loss,
        ("the power is that at the road: shaft power and drive efficiency are not separated by speed alone",),
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
    _check(run, ())
    if run.electrical_power is None:
        raise TableError(
            "the efficiency needs the battery's power",
            file=run.source.file if run.source else None,
            key="columns",
            allowed="voltage and current beside speed",
            remedy="log them, or fit the power at the wheels instead",
        )
    power = _without_dropouts(run.electrical_power)
    guess = float(np.clip(_mean_power(run, resistance) / max(float(np.mean(power)), 1e-9), 0.05, 1.0))
    return _fit_work(
        run,
        resistance,
        power[None],
        [Parameter("drive_efficiency", "1", guess, low=0.0)],
        loss,
        ("the efficiency is that from the battery to the road, motor and controller included",),
    )


def _fit_work(
    run: ThrottleRun,
    resistance: Resistance,
    rates: Array,
    parameters: Sequence[Parameter],
    loss: Loss,
    notes: tuple[str, ...],
) -> Fit:
    """Fit the speed that the work of the wheels leads to.

    ``rates`` has shape (parameters, rows): power at the wheels for one unit of each parameter.
    """
    speed = _without_dropouts(run.speed)
    work = _summed(rates, run.time)
    wander = _wander(run, resistance, rates, parameters)
    known = (*resistance.known, *(_wander_mode(number) for number in range(len(wander))))
    correlation = np.eye(len(known))
    correlation[: len(resistance.known), : len(resistance.known)] = resistance.known_correlation
    first = Parameter("first_speed", "m/s", float(speed[0]), of_log=True)

    def predict(values: Array, known_values: Array) -> Array:
        of = {each.name: float(value) for each, value in zip(known, known_values, strict=True)}
        lost = _summed(_resisting_force(speed, of) * speed, run.time)
        gained = values[:-1] @ work - lost + known_values[len(resistance.known) :] @ wander
        square = values[-1] ** 2 + 2 * gained / (of["mass"] * of["rotating_mass_factor"])
        return np.asarray(np.sqrt(np.maximum(square, 0.0)))

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
    return _with_wander_as_scatter(fit, len(resistance.known))


def _wander(run: ThrottleRun, resistance: Resistance, rates: Array, parameters: Sequence[Parameter]) -> Array:
    """How far summing up noisy rows may wander: modes of a random walk [J], shape (modes, rows).

    Source: Karhunen-Loeve expansion of Brownian motion, its clock running with the variance summed up.
    """
    of = {each.name: each.value for each in resistance.known}
    speed, steps = _without_dropouts(run.speed), np.diff(run.time, prepend=run.time[0])
    step = 1e-3 * float(np.max(speed))
    power_of = [_resisting_force(v, of) * v for v in (speed + step, speed - step)]
    noise = np.abs(power_of[0] - power_of[1]) / (2 * step) * neighbour_scatter(run.speed)
    variance = (noise * steps) ** 2
    for rate, parameter in zip(rates, parameters, strict=True):
        variance = variance + (parameter.start * neighbour_scatter(rate) * steps) ** 2
    clock = np.cumsum(variance)
    if not clock[-1] > 0:
        return np.zeros((0, len(speed)))
    orders = (np.arange(WANDER_MODES) + 0.5) * math.pi
    waves = np.sin(np.outer(orders, clock / clock[-1])) / orders[:, None]
    return np.asarray(math.sqrt(2 * float(clock[-1])) * waves)


def _wander_mode(number: int) -> Known:
    return Known(f"wander_{number}", 0.0, 1.0, "1", "noise of the logged rows, summed up")


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


def _resisting_force(speed: Array, of: Mapping[str, float]) -> Array:
    """Drag, rolling resistance and slope at these speeds [N]."""
    pressure = of["air_density"] * (speed + of["headwind"]) ** 2 / 2
    weight = of["mass"] * of["gravity"]
    rolling = of["rolling_resistance"] * (weight + pressure * of["downforce_area"])
    return np.asarray(pressure * of["drag_area"] + rolling + weight * np.sin(of["grade"]))


def _mean_power(run: ThrottleRun, resistance: Resistance) -> float:
    """Power that explains the first and last speed, as a place to start from."""
    of = {each.name: each.value for each in resistance.known}
    speed = _without_dropouts(run.speed)
    inertia = of["mass"] * of["rotating_mass_factor"]
    lost = float(np.trapezoid(_resisting_force(speed, of) * speed, run.time))
    gained = inertia * float(speed[-1] ** 2 - speed[0] ** 2) / 2
    return max((gained + lost) / float(np.ptp(run.time)), 1.0)


def _summed(rate: Array, time: Array) -> Array:
    """Integral of a rate from the first row to each row, along the last axis."""
    return np.asarray(cumulative_trapezoid(rate, time, initial=0))


def _without_dropouts(values: Array) -> Array:
    """Put the local median in place of rows far from it (Hampel filter); all others stay as logged."""
    middle = median_filter(values, MEDIAN_ROWS, mode="mirror")
    distance = np.abs(values - middle)
    limit = OUTLIER_LIMIT * max(neighbour_scatter(values), 1e-9 * float(np.max(np.abs(values))))
    return np.asarray(np.where(distance > limit, middle, values))


def _check(run: ThrottleRun, knots: Sequence[float]) -> None:
    file = run.source.file if run.source else None
    if len(run.time) < FEWEST_ROWS:
        raise TableError(
            "the full-throttle run is too short",
            file=file,
            found=f"{len(run.time)} rows",
            allowed=f"at least {FEWEST_ROWS}",
            remedy="log faster, or a longer run",
        )
    slowest, fastest = (float(v) for v in np.quantile(run.speed, [0.0, 1.0]))
    outside = [knot for knot in knots if not slowest <= knot <= fastest]
    if outside or list(knots) != sorted(set(knots)):
        raise TableError(
            "the power can be found only at speeds the run went through",
            file=file,
            key="knots",
            found=", ".join(f"{knot:g}" for knot in knots),
            allowed=f"rising speeds between {slowest:.3g} and {fastest:.3g} m/s",
            remedy="choose knots inside the run",
        )


def fit_battery(
    voltage: Array, current: Array, *, loss: Loss = "auto", sources: Sequence[Source] = ()
) -> Fit:
    """Fit the battery's open-circuit voltage and inner resistance: voltage falls in proportion to current.

    Returns
    -------
    Fit
        ``battery_voltage`` [V] and ``battery_resistance`` [ohm], for the charge the battery had.

    Raises
    ------
    TableError
        When the current hardly changes.
    """
    if not np.ptp(current) > 0.2 * np.max(np.abs(current)):
        raise TableError(
            "a steady current does not show the battery's resistance",
            file=sources[0].file if sources else None,
            key="columns.current",
            found=f"{float(np.min(current)):.3g} A to {float(np.max(current)):.3g} A",
            allowed="a range of at least a fifth of the largest current",
            remedy="log from before the throttle opens",
        )
    slope, level = np.polyfit(current, voltage, 1)
    return fit_curve(
        lambda values, _: np.asarray(values[0] - values[1] * current),
        Observations.single(voltage, current, name="voltage", unit="V", abscissa_name="current"),
        [
            Parameter("battery_voltage", "V", float(level)),
            Parameter("battery_resistance", "ohm", max(-float(slope), 1e-4)),
        ],
        kind="battery under load",
        loss=loss,
        sources=sources,
        notes=("a battery's voltage falls as it empties: the values hold for the charge it had",),
    )


def fit_tyre_radius(
    speed: Array,
    motor_speed: Array,
    *,
    gear_ratio: Known,
    growing: bool = True,
    loss: Loss = "auto",
    sources: Sequence[Source] = (),
) -> Fit:
    """Fit the loaded radius of the driven tyres, and its growth, from speed over the ground and revs.

    Parameters
    ----------
    speed, motor_speed:
        Shape (rows,), in m/s and rad/s.
    gear_ratio:
        Turns of the motor per turn of the wheel.
    growing:
        Whether the tyre's growth with the square of the speed is fitted as well.

    Returns
    -------
    Fit
        ``tyre_radius`` [m] and, if growing, ``tyre_growth`` [s2/m2].
    """
    radius = float(np.median(speed / motor_speed)) * gear_ratio.value
    parameters = [Parameter("tyre_radius", "m", radius)]
    if growing:
        fastest = max(float(np.max(speed)), 1.0)
        parameters.append(Parameter("tyre_growth", "s2/m2", 0.0, scale=0.1 / fastest**2))

    def predict(values: Array, known: Array) -> Array:
        turning = values[0] * motor_speed / known[0]
        growth = values[1] if growing else 0.0
        # Speed = radius (1 + growth speed^2) x wheel speed, solved for the speed; the smaller root.
        inside = np.maximum(1 - 4 * growth * turning**2, 0.0)
        return np.asarray(2 * turning / (1 + np.sqrt(inside)))

    return fit_curve(
        predict,
        Observations.single(speed, motor_speed, name="speed", unit="m/s", abscissa_name="motor speed"),
        parameters,
        kind="revs against speed",
        known=(gear_ratio,),
        loss=loss,
        sources=sources,
        notes=("slip of the driven tyres counts as a smaller radius",),
    )


def fit_top_speed(run: ThrottleRun, *, loss: Loss = "auto") -> Fit:
    """Fit the speed that a full-throttle run comes to rest at, and say whether it was reached.

    The last part of a run approaches its top speed exponentially, as any small departure from a balance does.

    Returns
    -------
    Fit
        ``top_speed``, weak when the run ended too far below it.

    Raises
    ------
    TableError
        With too few rows.
    """
    _check(run, ())
    late = run.speed >= np.median(run.speed)
    late &= np.arange(len(late)) >= np.argmax(late)
    time, speed = run.time[late] - run.time[late][0], run.speed[late]
    edge = max(len(speed) // 10, 1)
    first, last = float(np.median(speed[:edge])), float(np.median(speed[-edge:]))
    span = float(np.ptp(time))
    gain = max(last - first, 1e-3 * last)

    def predict(values: Array, _: Array) -> Array:
        top, short, lapse = values
        return np.asarray(top - short * np.exp(-time / lapse))

    fit = fit_curve(
        predict,
        Observations.single(speed, time, name="speed", unit="m/s", abscissa_name="time"),
        [
            Parameter("top_speed", "m/s", last + 0.1 * gain),
            Parameter("short_of_top_speed", "m/s", gain, low=0.0, of_log=True),
            Parameter("time_to_come_closer", "s", span / 3, low=span / 100, high=10 * span, of_log=True),
        ],
        kind="top-speed run",
        loss=loss,
        sources=[run.source] if run.source else (),
    )
    return _judged_reached(fit, last)


def _judged_reached(fit: Fit, last: float) -> Fit:
    top = fit.value("top_speed")
    share = last / top
    if share >= 0.99:
        return replace(fit, notes=(*fit.notes, f"the run ended at {share:.1%} of its top speed: reached"))
    note = f"the run ended at {last:.3g} m/s, {share:.1%} of the top speed that its end points to"
    weak = "the top speed was not reached, so it rests on how the run would have gone on"
    return replace(fit, notes=(*fit.notes, note), weakness=fit.weakness or (weak if share < 0.95 else ""))
