"""Coast-down: drag area and rolling resistance from the speed of a car rolling free.

The equation of motion is solved in closed form (coast-down mathematics of SAE J1263 and J2263), so the speed
log is fitted as it is, without differentiating noise.  Runs in both directions tell wind and slope from drag
and rolling resistance; runs with the flap closed and open tell what the flap does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from explorer.errors import SampleError, TableError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.graph.words import Number, Sentence, told
from explorer.graph.written import percent
from explorer.logs.fitting.derived import Derived, derived
from explorer.logs.fitting.fit import Fit, Known, Labels
from explorer.logs.fitting.least_squares import Loss, fit_curve
from explorer.logs.fitting.problem import Observations, Parameter

GRAVITY = Known("gravity", 9.80665, 0.0, "m/s2", "ISO 80000-3, standard value")
NO_DOWNFORCE = Known("downforce_area", 0.0, 0.0, "m2", "none given")
# A speed that falls by less than this share says nothing about what slows the car.
LEAST_FALL = 0.1
FEWEST_ROWS = 8
# Rows worth fewer than this share of themselves repeat each other as in a wind that differs from run to run.
SLOW_SHARE = 0.5
# What is believed of wind along the track and slope before the runs, unless the builder says better
# (judgement: nobody coasts down in a gale or on a hill).  Keeps the search off such answers.
CALM = Known("headwind", 0.0, 3.0, "m/s", "judgement: a day fit for a coast-down")
LEVEL = Known("grade", 0.0, 0.02, "rad", "judgement: a track that looks level")


@dataclass(frozen=True)
class CoastDownRun:
    """One run, from power off to before the brakes.

    Attributes
    ----------
    time, speed:
        Shape (rows,), in s and m/s.
    direction:
        1 for one way along the track, -1 for the way back.
    flap:
        Position of the flap, as in "closed" or "open".
    source:
        The log it came from.
    """

    time: Array
    speed: Array
    direction: Literal[1, -1] = 1
    flap: str = "closed"
    source: Source | None = None


@dataclass(frozen=True)
class _RowsOfRuns:
    """All runs one after the other: time since the run's first row, and what each row belongs to."""

    time: Array
    speed: Array
    run: Labels
    direction: Array
    flap: Labels
    flaps: tuple[str, ...]

    @property
    def drag_names(self) -> tuple[str, ...]:
        """Names of the drag areas, one for each flap position."""
        if len(self.flaps) == 1:
            return ("drag_area",)
        return tuple(f"drag_area_{flap}" for flap in self.flaps)


def coasting_speed(time: Array, start: Array, square: Array, constant: Array) -> Array:
    """Speed of the air meeting a car that is slowed by ``square * speed**2 + constant``.

    One expression for every sign of the constant deceleration: uphill or rolling (tangent), downhill beyond
    the rolling resistance (hyperbolic tangent), and none (reciprocal).

    Source: solution of dv/dt = -(a v^2 + b), coast-down mathematics of SAE J1263 and J2263.

    Parameters
    ----------
    time:
        Since the speed was ``start`` [s].
    start, square, constant:
        In m/s, 1/m and m/s2; all broadcast against each other.

    Returns
    -------
    Array
        In m/s; zero from where the car stands.
    """
    phase = square * constant * time**2
    root = np.sqrt(np.abs(phase))
    turns = np.minimum(root, np.pi)
    # A car downhill settles at its terminal speed; beyond this the ratio no longer changes.
    grows = np.minimum(root, 300.0)
    rolling = phase > 0
    even = np.where(rolling, np.cos(turns), np.cosh(grows))
    safe = np.where(root > 0, root, 1.0)
    odd = time * np.where(root > 0, np.where(rolling, np.sin(turns), np.sinh(grows)) / safe, 1.0)
    top, bottom = start * even - constant * odd, even + square * start * odd
    return np.asarray(np.where((top > 0) & (bottom > 0), top / np.where(bottom > 0, bottom, 1.0), 0.0))


def fit_coast_down(
    runs: Sequence[CoastDownRun],
    *,
    mass: Known,
    rotating_mass_factor: Known,
    air_density: Known,
    headwind: Known | None = None,
    grade: Known | None = None,
    downforce_area: Mapping[str, Known] | None = None,
    rolling_resistance_per_speed: Known | None = None,
    gravity: Known = GRAVITY,
    wind_varies: float = 0.0,
    loss: Loss = "auto",
) -> Fit:
    """Fit drag area and rolling resistance to coast-down runs.

    Parameters
    ----------
    runs:
        All runs of one car on one stretch.
    mass, rotating_mass_factor, air_density, gravity:
        Carried through with their uncertainty.
    headwind, grade:
        As met in direction 1; needed when all runs go one way.  With runs both ways they are found from the
        runs, starting from what is given here or from a calm day on a level track.
    downforce_area:
        Flap position -> downforce over dynamic pressure; it presses the tyres down and so adds rolling
        resistance that grows as drag does.
    rolling_resistance_per_speed:
        What the rolling resistance coefficient gains per speed, under the weight; a coast-down alone hardly
        tells it from the two estimates, so it is carried through with its uncertainty.
    wind_varies:
        Standard deviation of the wind along the track from run to run [m/s]: each run is then given a wind of
        its own, believed to lie so near to the headwind of all.  Zero for one wind in all runs.
    loss:
        See ``fit_curve``.

    Returns
    -------
    Fit
        ``drag_area`` (or ``drag_area_closed``, ``drag_area_open``: one for each flap position) and
        ``rolling_resistance``.

    Raises
    ------
    TableError
        When a run is too short or its speed does not fall.
    SampleError
        When all runs go one way and wind or slope is not given.
    """
    for run in runs:
        _check_run(run)
    _check_directions(runs, headwind, grade)
    layout = _laid_out(runs)
    along = (_renamed(headwind or CALM, "headwind"), _renamed(grade or LEVEL, "grade"))
    fixed = [each for each in along if each.standard_uncertainty == 0]
    pressing = [
        _renamed((downforce_area or {}).get(flap, NO_DOWNFORCE), f"downforce_area_{flap}")
        for flap in layout.flaps
    ]
    growing = () if rolling_resistance_per_speed is None else (rolling_resistance_per_speed,)
    known = (mass, rotating_mass_factor, air_density, gravity, *fixed, *pressing, *growing)
    parameters = _parameters(layout, runs, known, [each for each in along if each not in fixed], wind_varies)
    names = [p.name for p in parameters] + [each.name for each in known]

    def predict(values: Array, known_values: Array) -> Array:
        return _speeds(layout, dict(zip(names, [*values, *known_values], strict=True)), len(runs))

    fit = fit_curve(
        predict,
        Observations.single(
            layout.speed, None, name="speed", unit="m/s", abscissa_name="speed", run=layout.run
        ),
        parameters,
        kind="coast-down",
        known=known,
        loss=loss,
        sources=list(dict.fromkeys(run.source for run in runs if run.source is not None)),
    )
    return replace(fit, notes=(*fit.notes, *_limits(fit, layout, downforce_area, wind_varies)))


def coast_down_inputs(
    fit: Fit,
    *,
    wing_area: Known,
    wing_drag_coefficient_open: Known,
    other_drag_area: Known | None = None,
) -> Fit:
    """Turn the drag areas of the whole car into what the study gives part by part.

    Parameters
    ----------
    fit:
        Coast-downs with the flap open, or both open and closed.
    wing_area, wing_drag_coefficient_open:
        Of the rear wing; what the body is left with depends on them.
    other_drag_area:
        Drag area of the parts that the study gives beside body and wing, as splitter and floor.

    Returns
    -------
    Fit
        ``body_drag_area`` and ``rolling_resistance``, and ``wing_drag_coefficient_closed`` when runs with the
        flap closed are there as well.

    Raises
    ------
    SampleError
        Without a run with the flap open.
    """
    if "drag_area_open" not in fit.names:
        raise SampleError(
            "the body's drag area is what is left with the flap open",
            found=", ".join(fit.names),
            allowed="drag_area_open among the estimates",
            remedy='coast down with the flap closed and with it open, marked flap = "closed" and "open"',
        )
    other = other_drag_area or Known("other_drag_area", 0.0, 0.0, "m2", "none given")
    quantities = {
        "body_drag_area": Derived(
            "m2",
            lambda of: (
                of["drag_area_open"]
                - of["wing_area"] * of["wing_drag_coefficient_open"]
                - of["other_drag_area"]
            ),
        ),
        "rolling_resistance": Derived("1", lambda of: of["rolling_resistance"]),
        "wing_drag_coefficient_closed": Derived(
            "1",
            lambda of: (
                of["wing_drag_coefficient_open"]
                + (of["drag_area_closed"] - of["drag_area_open"]) / of["wing_area"]
            ),
        ),
    }
    if "drag_area_closed" not in fit.names:
        del quantities["wing_drag_coefficient_closed"]
    return derived(fit, quantities, (wing_area, wing_drag_coefficient_open, other))


def _renamed(known: Known, name: str) -> Known:
    return replace(known, name=name)


def _check_run(run: CoastDownRun) -> None:
    file = run.source.file if run.source else None
    if len(run.time) < FEWEST_ROWS:
        raise TableError(
            "the coast-down is too short",
            file=file,
            found=f"{len(run.time)} rows",
            allowed=f"at least {FEWEST_ROWS}",
            remedy="log faster, or let the car roll longer",
        )
    _, speeds = _block_medians(run)
    first, last = float(speeds[0]), float(speeds[-1])
    if not last < (1 - LEAST_FALL) * first:
        raise TableError(
            "the speed hardly falls: this is not a coast-down",
            file=file,
            key="columns.speed",
            found=f"from {first:.3g} m/s to {last:.3g} m/s in {run.time[-1] - run.time[0]:.3g} s",
            allowed=f"a fall of at least {percent(LEAST_FALL)}, half of the first speed for a good fit",
            remedy="cut the log to the part from power off to before the brakes",
        )


def _check_directions(runs: Sequence[CoastDownRun], headwind: Known | None, grade: Known | None) -> None:
    if len({run.direction for run in runs}) < 2 and (headwind is None or grade is None):
        raise SampleError(
            "runs in one direction cannot tell wind and slope from drag and rolling resistance",
            key="direction",
            found=f"{len(runs)} run(s), all in direction {runs[0].direction}" if runs else "no run",
            allowed="runs in direction 1 and in direction -1, or headwind and grade given",
            remedy="drive the same stretch back (direction = -1 beside its file), or give both with their "
            'uncertainty: known = { headwind = "0 ± 0.5 m/s", grade = "0 ± 0.2 deg" }',
        )


def _laid_out(runs: Sequence[CoastDownRun]) -> _RowsOfRuns:
    flaps = tuple(dict.fromkeys(run.flap for run in runs))
    rows = [len(run.time) for run in runs]
    return _RowsOfRuns(
        time=np.concatenate([run.time - run.time[0] for run in runs]),
        speed=np.concatenate([run.speed for run in runs]),
        run=np.repeat(np.arange(len(runs)), rows),
        direction=np.repeat([float(run.direction) for run in runs], rows),
        flap=np.repeat([flaps.index(run.flap) for run in runs], rows),
        flaps=flaps,
    )


def _block_medians(run: CoastDownRun) -> tuple[Array, Array]:
    """Thin a run to a few points that dropouts cannot reach: shape (blocks,) each."""
    blocks = np.array_split(np.arange(len(run.time)), min(8, len(run.time) // 4))
    times = np.array([np.median(run.time[block]) for block in blocks])
    return times, np.array([np.median(run.speed[block]) for block in blocks])


def _parameters(
    layout: _RowsOfRuns,
    runs: Sequence[CoastDownRun],
    known: Sequence[Known],
    along: Sequence[Known],
    wind_varies: float,
) -> list[Parameter]:
    """Start from a straight line through deceleration against speed squared."""
    rows, falls = [], []
    for run in runs:
        times, speeds = _block_medians(run)
        middle = (speeds[1:] + speeds[:-1]) / 2
        flap = np.eye(len(layout.flaps))[layout.flaps.index(run.flap)]
        rows.append(np.column_stack([np.outer(middle**2, flap), np.ones(len(middle))]))
        falls.append(-np.diff(speeds) / np.diff(times))
    *squares, constant = np.linalg.lstsq(np.concatenate(rows), np.concatenate(falls), rcond=None)[0]
    value = {each.name: each.value for each in known}
    inertia = value["mass"] * value["rotating_mass_factor"]
    areas = [max(2 * inertia * square / value["air_density"], 1e-4) for square in squares]
    rolling = max(constant * value["rotating_mass_factor"] / value["gravity"], 1e-3)
    return [
        *(Parameter(name, "m2", area) for name, area in zip(layout.drag_names, areas, strict=True)),
        Parameter("rolling_resistance", "1", float(rolling)),
        *(
            Parameter(
                each.name,
                each.unit,
                each.value,
                scale=each.standard_uncertainty,
                expected=(each.value, each.standard_uncertainty),
                of_log=True,
            )
            for each in along
        ),
        *(
            Parameter(f"first_speed_of_run_{number}", "m/s", float(np.median(run.speed[:3])), of_log=True)
            for number, run in enumerate(runs, start=1)
        ),
        *(
            Parameter(
                f"gust_of_run_{number}",
                "m/s",
                0.0,
                scale=wind_varies,
                expected=(0.0, wind_varies),
                of_log=True,
            )
            for number in range(1, len(runs) + 1)
            if wind_varies > 0
        ),
    ]


def _speeds(layout: _RowsOfRuns, of: Mapping[str, float], runs: int) -> Array:
    """Speed over the ground at every row, shape (rows,)."""
    resisting = np.array(
        [
            of[name] + of["rolling_resistance"] * of[f"downforce_area_{flap}"]
            for name, flap in zip(layout.drag_names, layout.flaps, strict=True)
        ]
    )
    square = of["air_density"] * resisting / (2 * of["mass"] * of["rotating_mass_factor"])
    rolling = of["rolling_resistance"] * np.cos(of["grade"]) + layout.direction * np.sin(of["grade"])
    constant = of["gravity"] * rolling / of["rotating_mass_factor"]
    numbers = range(1, runs + 1)
    gusts = np.array([of.get(f"gust_of_run_{number}", 0.0) for number in numbers])[layout.run]
    wind = layout.direction * (of["headwind"] + gusts)
    first = np.array([of[f"first_speed_of_run_{number}"] for number in numbers])[layout.run]
    square = square[layout.flap]
    # A term in the speed over the ground is taken up by counting the speed from another place.
    growth = of.get("rolling_resistance_per_speed", 0.0) * of["gravity"] / of["rotating_mass_factor"]
    shift = growth / np.maximum(2 * square, 1e-12)
    constant = constant - growth * (wind + shift / 2)
    return coasting_speed(layout.time, first + wind + shift, square, constant) - wind - shift


def _limits(
    fit: Fit, layout: _RowsOfRuns, downforce_area: Mapping[str, Known] | None, wind_varies: float
) -> Iterator[Sentence]:
    """Say what a coast-down can and cannot tell."""
    inertia = 1.0
    share = {"mass": 0.0, "rotating_mass_factor": 0.0}
    for each in fit.known:
        if each.name in share:
            inertia *= each.value
    first = layout.drag_names[0]
    place = fit.names.index(first)
    carried = math.hypot(*(float(fit.contributions[name][place]) for name in share))
    rest = math.sqrt(max(fit.covariance[place, place] - carried**2, 0.0))
    yield told(
        "a coast-down gives drag area over effective mass only: "
        f"{first} / (mass x rotating_mass_factor) = {{}} ± {{}}; mass and rotating mass add {{}} to the "
        "drag area's uncertainty",
        *_with_spread(fit.estimates[place] / inertia, rest / inertia, "m2/kg"),
        Number(carried, distance=True, spread=carried, unit="m2"),
    )
    wind, slope = fit.log_values.get("headwind"), fit.log_values.get("grade")
    if wind and slope:
        own = "each run has a wind of its own, within about {} of that"
        yield told(
            "headwind {} ± {}, slope {} ± {}; "
            + (own if wind_varies else "both taken as the same in all runs"),
            *_with_spread(*wind, "m/s"),
            *_with_spread(*slope, "percent"),
            *([Number(wind_varies, distance=True, unit="m/s")] if wind_varies else []),
        )
    if not wind_varies and fit.effective_rows < SLOW_SHARE * fit.rows:
        yield (
            "what is left over changes slowly along each run, as where the wind is not the same in all of "
            'them: wind_varies = "0.5 m/s" gives each run its own, and makes more of such a log'
        )
    if not downforce_area:
        yield (
            "no downforce was given: rolling resistance that grows with downforce counts as drag area, "
            "as rolling_resistance x downforce area"
        )
    if len(layout.flaps) == 2:
        one, two = layout.drag_names
        change = fit.value(one) - fit.value(two)
        slope_of = np.array([(name == one) * 1.0 - (name == two) * 1.0 for name in fit.names])
        spread = math.sqrt(max(float(slope_of @ fit.covariance @ slope_of), 0.0))
        yield told(
            f"{one} minus {two}: {{}} ± {{}}, errors common to both taken out",
            *_with_spread(change, spread, "m2"),
        )


def _with_spread(value: float, spread: float, unit: str) -> tuple[Number, Number]:
    return (
        Number(float(value), spread=float(spread), unit=unit),
        Number(float(spread), distance=True, spread=float(spread), unit=unit),
    )
