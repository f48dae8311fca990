"""Spring or wheel rate from load against deflection, with play, preload and friction told apart from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import fdtrc

from explorer.errors import TableError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit, Known, combined_degrees_of_freedom
from explorer.logs.fitting.independence import SHORTEST_RUN
from explorer.logs.fitting.least_squares import Loss, fit_curve
from explorer.logs.fitting.problem import Observations, Parameter

FEWEST_LOADS = 3
# Degrees of freedom that few readings are left with at the least, however much they repeat each other.
FEWEST_TO_SPARE = 2.0
# A knee at the preload is believed when scatter alone would make one as rarely as this (common practice).
KNEE_CHANCE = 0.01
EXACT_LOAD = Known("load_scale", 1.0, 0.0, "1", "weights taken as true")
EXACT_GAUGE = Known("deflection_scale", 1.0, 0.0, "1", "gauge taken as true")


@dataclass(frozen=True)
class _FirstGuess:
    """First guess: deflection where the line begins, rate, preload, and squares left over."""

    begin: float
    rate: float
    preload: float
    squares: float


def fit_spring_test(
    load: Array,
    deflection: Array,
    *,
    rate_name: str = "rear_wheel_rate",
    wheels: int = 1,
    loading: Array | None = None,
    load_scale: Known = EXACT_LOAD,
    deflection_scale: Known = EXACT_GAUGE,
    standard_deviation: float | None = None,
    loss: Loss = "auto",
    sources: Sequence[Source] = (),
) -> Fit:
    """Fit the deflection read under known loads.

    Below the preload nothing moves; from there on the deflection grows by the load over the rate.  Friction
    delays the movement, loading and unloading.

    Parameters
    ----------
    load, deflection:
        Shape (rows,), in N and m, in the order taken.
    rate_name:
        Quantity the rate stands for.
    wheels:
        2 when both wheels of the axle share the load: the rate is that of one wheel.
    loading:
        Shape (rows,): 1 where load was being added, -1 where it was being taken off.
    load_scale, deflection_scale:
        What the weights and the gauge read, times this, is the truth.
    standard_deviation:
        Known scatter of a deflection reading [m]; else it is taken from the residuals.

    Returns
    -------
    Fit
        The rate [N/m]; preload, friction and the deflection at which the line begins in ``log_values``.

    Raises
    ------
    TableError
        With fewer than three different loads, or a deflection that does not grow with them.
    """
    file = sources[0].file if sources else None
    _check(load, deflection, file)
    rubbing = loading is not None and len(np.unique(np.sign(loading))) > 1
    hidden = load != 0
    stuck = not rubbing and not hidden.all() and len(np.unique(load[hidden])) >= FEWEST_LOADS
    if stuck and not _best_line(load, deflection)[1]:
        # Friction that acts one way only is in every reading but that at no load, which is off the line.
        load, deflection = load[hidden], deflection[hidden]
    else:
        stuck = False
    line, kneed = _best_line(load / wheels, deflection)
    direction = np.sign(loading) if rubbing and loading is not None else np.zeros(len(load))

    def predict(values: Array, known: Array) -> Array:
        rate, begin = values[0], values[1]
        preload = values[2] if kneed else 0.0
        friction = values[-1] if rubbing else 0.0
        carried = load / wheels * known[0] - direction * friction - preload
        return np.asarray((begin + (np.maximum(carried, 0.0) if kneed else carried) / rate) / known[1])

    extent = float(np.ptp(deflection))
    parameters = [
        Parameter(rate_name, "N/m", line.rate, low=0.0),
        Parameter("line_begins_at", "m", line.begin, scale=extent, of_log=True),
    ]
    if kneed:
        parameters.append(Parameter("preload", "N", line.preload, low=0.0, of_log=True))
    if rubbing:
        parameters.append(Parameter("friction", "N", 0.0, scale=float(np.ptp(load)) / wheels, of_log=True))
    fit = fit_curve(
        predict,
        # The order along the load is what a curved spring would show up in; readings are taken one by one.
        Observations.single(
            deflection,
            load,
            name="deflection",
            unit="m",
            abscissa_name="load",
            standard_deviation=standard_deviation,
        ),
        parameters,
        kind="spring test",
        known=(load_scale, deflection_scale),
        loss=loss,
        sources=sources,
        notes=_notes(kneed, rubbing, stuck, load_scale, deflection_scale),
    )
    known_scatter = standard_deviation is not None
    return fit if known_scatter or len(load) >= SHORTEST_RUN else _allowing_for_repetition(fit)


def _allowing_for_repetition(fit: Fit) -> Fit:
    """Widen a fit of a few readings for errors that repeat, which so few hardly show.

    The correlation of neighbouring residuals is put up by four over the rows: a fitted line takes half of
    that away (Kendall, Biometrika 41 (1954) 403, for its bias), the rest is judgement.  Simulated intervals
    of 95 % from 8 to 14 readings hold the rate in 97 to 98 of 100 tests where readings err each on their
    own, and in 92 to 97 where an error fades over one and a half to three readings.
    """
    if fit.residuals is None:
        return fit
    left = fit.residuals.residual
    squares, rows = float(left @ left), len(left)
    neighbours = float(left[1:] @ left[:-1]) / squares if squares > 0 else 0.0
    kept = min(max(neighbours + 4 / rows, 0.0), 0.9)
    repeats = min((1 + kept) / (1 - kept), rows / 3)
    own = fit.scatter_covariance * repeats
    total = fit.covariance - fit.scatter_covariance + own
    freedom = max(rows / repeats - 2, FEWEST_TO_SPARE)
    note = f"{rows} readings are too few to show errors that repeat; the uncertainty allows for some"
    return replace(
        fit,
        covariance=total,
        scatter_covariance=own,
        degrees_of_freedom=combined_degrees_of_freedom(own, total, freedom),
        effective_rows=min(fit.effective_rows, rows / repeats),
        notes=(*fit.notes, note),
    )


def _check(load: Array, deflection: Array, file: str | None) -> None:
    if len(np.unique(load)) < FEWEST_LOADS:
        raise TableError(
            "a rate needs several loads",
            file=file,
            key="columns.load",
            found=f"{len(np.unique(load))} different loads in {len(load)} rows",
            allowed=f"at least {FEWEST_LOADS}",
            remedy="add weights in more steps",
        )
    slope = float(np.polyfit(load, deflection, 1)[0])
    if not slope > 0:
        raise TableError(
            "the deflection does not grow with the load",
            file=file,
            key="columns.deflection",
            found=f"{1e3 * float(np.ptp(deflection)):.3g} mm over {float(np.ptp(load)):.3g} N, "
            "falling or not at all",
            allowed="more deflection under more load",
            remedy="check which column is which, and the sign of the gauge",
        )


def _best_line(load: Array, deflection: Array) -> tuple[_FirstGuess, bool]:
    """Choose between a straight line and one that begins at a preload.

    Source: F test of one added parameter (extra sum of squares, Draper & Smith).
    """
    straight = _line(load, deflection, -np.inf)
    steps = np.unique(load)
    # Two rows must lie below a knee and two loads above it, else it only follows the scatter.
    places = [p for p in np.linspace(steps[0], steps[-3], 200) if np.count_nonzero(load <= p) >= 2]
    if len(load) < 6 or not places:
        return straight, False
    kneed = min((_line(load, deflection, p) for p in places), key=lambda line: line.squares)
    spare = len(load) - 3
    gain = (straight.squares - kneed.squares) / max(kneed.squares / spare, 1e-300)
    if fdtrc(1, spare, max(gain, 0.0)) < KNEE_CHANCE:
        return kneed, True
    return straight, False


def _line(load: Array, deflection: Array, preload: float) -> _FirstGuess:
    carried = load if preload == -np.inf else np.maximum(load - preload, 0.0)
    matrix = np.column_stack([np.ones(len(load)), carried])
    (begin, slope), *_ = np.linalg.lstsq(matrix, deflection, rcond=None)
    rest = deflection - matrix @ [begin, slope]
    rate = 1 / slope if slope > 0 else np.inf
    return _FirstGuess(float(begin), float(rate), 0.0 if preload == -np.inf else preload, float(rest @ rest))


def _notes(
    kneed: bool, rubbing: bool, stuck: bool, load_scale: Known, deflection_scale: Known
) -> tuple[str, ...]:
    notes = [
        "the deflection at which the line begins is play plus the zero of the gauge"
        if kneed
        else "play and preload are not separated by this log, which has no rows below the preload"
    ]
    if stuck:
        notes.append(
            "readings at no load were left out: with friction in the rig they do not lie on the line of "
            "the rest, and nothing in this log tells; add the weights and take them off again to have "
            "the friction found"
        )
    if not rubbing:
        notes.append("friction is not told apart: the log does not say loading from unloading")
    if load_scale.standard_uncertainty == 0 and deflection_scale.standard_uncertainty == 0:
        notes.append("weights and gauge were taken as true; an error of theirs would be an error of the rate")
    return tuple(notes)
