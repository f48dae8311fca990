"""Prediction against logged runs: each ``[logged_runs.NAME]`` held against the predicted band."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from explorer.analyses.standing import cars_on_points_along
from explorer.analyses.sweeps import stacked, sweep_plan
from explorer.engine.plan import Plan
from explorer.errors import Faults, StudyError, TableError, unknown
from explorer.graph.arrays import Array
from explorer.graph.units import from_si, parse_spread, spread_from_si
from explorer.logs.explaining import explanations
from explorer.logs.fitting.model_error import Discrepancy
from explorer.logs.named_logs import read_study_log, told_in_study
from explorer.logs.reader import Log
from explorer.logs.speed_curves import speed_along
from explorer.logs.validation import Validation, validate_curves
from explorer.results.logged_runs import Explanation
from explorer.study.asked_for import Sweep
from explorer.study.beside import standing_of
from explorer.study.model_errors import without_error_of
from explorer.study.schema import LogEntry, LoggedRunEntry
from explorer.study.study import Study
from explorer.study.throttle import check_throttle

# Cars that a run is ranked among: enough for a chance of one in a hundred to be told.
SAMPLES = 2000
POINTS = 25
# More rows than this are thinned: each is compared with every car.
MOST_ROWS = 1500
# Along a straight, accelerations are looked up at this many speeds, up to beyond the fastest one logged.
SPEEDS = 40
BEYOND = 1.3
# Below this a car has no steady run to follow [m/s].
WALKING = 0.5
# Rows from whose line the first speed is taken.
FIRST_ROWS = 5
UNANSWERED = 0.01


@dataclass(frozen=True)
class ComparedRun:
    """A logged run and how it lies in the prediction; numbers of ``validation`` in the units shown.

    ``explained_by`` names the inputs that would explain it alone, where the study does not.  ``samples`` and
    ``unanswered`` count the cars it was held against, and those of them without an answer.
    ``departure`` is what the log says of the model's own error; None for what no model computes.
    """

    name: str
    entry: LoggedRunEntry
    log: Log
    validation: Validation
    explained_by: tuple[Explanation, ...]
    unit: str
    along_unit: str
    samples: int
    unanswered: int
    departure: Discrepancy | None = None


def validate(study: Study, name: str | None = None) -> tuple[ComparedRun, ...]:
    """Hold what a study predicts against its logged runs.

    Parameters
    ----------
    name:
        One logged run of the study; by default all of them.

    Returns
    -------
    tuple of ComparedRun
        ``validation.explains`` is the verdict.

    Raises
    ------
    SquatlineError
        When a section or its log cannot be used, with file and key.
    """
    study = study.on_any_day
    entries = study.entries.logged_runs
    if name is not None and name not in entries:
        raise unknown("no logged run is called {}", name, entries, "logged_runs").within(file=str(study.path))
    faults, found = Faults(), []
    for one in [name] if name is not None else entries:
        with faults.noted():
            found.append(_tracked(study, one))
    faults.tell()
    return tuple(found)


def check_logged_runs(study: Study) -> None:
    """Check the sections of all logged runs without reading a log.

    Raises
    ------
    StudyError
        For the first fault of each, with its key.
    """
    faults = Faults()
    for name, entry in study.entries.logged_runs.items():
        with faults.noted(), told_in_study(study, f"logged_runs.{name}", []):
            _check(study, entry)
    faults.tell()


def _tracked(study: Study, name: str) -> ComparedRun:
    entry, key = study.entries.logged_runs[name], f"logged_runs.{name}"
    with told_in_study(study, key, [entry.file]):
        _check(study, entry)
        log = _read(study, entry, key)
        predicted = _predicted(study, entry, log)
        where, logged = _logged(entry, log)
        unit, along_unit = study.unit_of(entry.quantity), _along_unit(study, entry.along)
        noise = None if entry.noise is None else _noise(study, entry, unit)

        def predict(drawn: Mapping[str, Array]) -> Array:
            return np.asarray(from_si(predicted.curves(drawn), unit))

        drawn = predicted.plan.random_chunk(0, SAMPLES)
        at, curves = np.asarray(from_si(predicted.at, along_unit)), predict(drawn)
        scraping = tuple(_scraping(study, entry, predicted.sweep, log))
        found = validate_curves(
            at,
            curves,
            np.asarray(from_si(where, along_unit)),
            np.asarray(from_si(logged, unit)),
            quantity=entry.quantity,
            along=entry.along,
            noise=noise,
            seed=study.seed,
        )
        causes: tuple[Explanation, ...] = ()
        if not found.explains:
            causes = explanations(found, at, curves, drawn, predicted.plan.uncertain, predict, study.graph)
        departure = None
        if entry.along == "speed" and not study.graph[entry.quantity].is_given:
            exact, bare = without_error_of(study, entry.quantity), curves
            if exact is not study:
                predicted = _predicted(exact, entry, log)
                bare = predict(predicted.plan.random_chunk(0, SAMPLES))
            departure = Discrepancy.of(
                at, bare, np.asarray(from_si(where, along_unit)), np.asarray(from_si(logged, unit))
            )
    silent = int(np.count_nonzero(~np.isfinite(curves).all(axis=1)))
    found = replace(found, notes=(*found.notes, *scraping, *log.notes, *_silence(silent, len(curves))))
    return ComparedRun(name, entry, log, found, causes, unit, along_unit, len(curves), silent, departure)


def _check(study: Study, entry: LoggedRunEntry) -> None:
    if entry.condition not in study.conditions:
        raise unknown("no condition is called {}", entry.condition, study.conditions, "condition")
    if entry.quantity not in study.graph:
        raise unknown(
            "no quantity is called {}",
            entry.quantity,
            study.graph.quantities,
            "quantity",
            allowed="a quantity of the chosen models; 'squatline explain --all' lists them",
        )
    if entry.along != "speed" and entry.quantity != "speed":
        raise StudyError(
            "along time or distance only the speed of a full-throttle run is predicted",
            key="along",
            found=f"{entry.quantity} along the {entry.along}",
            allowed='quantity = "speed", or along = "speed"',
            remedy="log the speed as well, and lay the quantity along it",
        )
    if entry.along == entry.quantity:
        raise StudyError("a speed along the speed says nothing", key="along", allowed="time or distance")
    for wanted in (entry.along, entry.quantity):
        if wanted not in entry.columns:
            raise StudyError(
                f"the study does not say which column holds {wanted!r}",
                key="columns",
                found=", ".join(entry.columns) or "no column",
                remedy=f"add {wanted} = {{ column = ..., unit = ... }}",
            )
    wanted = "acceleration" if entry.along != "speed" else entry.quantity
    check_throttle(study, wanted, entry.condition, "quantity")
    study.graph.require([wanted], {*study.given_names(entry.condition), "speed"})


def _read(study: Study, entry: LoggedRunEntry, key: str) -> Log:
    one = LogEntry(file=entry.file, **entry.said)
    names = dict.fromkeys((entry.along, entry.quantity, *(["time"] if "time" in entry.columns else [])))
    columns = {quantity: entry.columns[quantity] for quantity in names}
    return read_study_log(study, one, columns, key, most_rows=MOST_ROWS)


def _logged(entry: LoggedRunEntry, log: Log) -> tuple[Array, Array]:
    """Return where each row stands and what it says; a straight is counted from its first row."""
    where = log[entry.along]
    return (where if entry.along == "speed" else where - where[0]), log[entry.quantity]


@dataclass(frozen=True)
class _Prediction:
    """Where the study is asked, shape (points,), and what follows its curves from a sweep over speeds."""

    at: Array
    plan: Plan
    sweep: Sweep
    follow: Callable[[Array], Array]

    def curves(self, drawn: Mapping[str, Array]) -> Array:
        """Return the curves of drawn inputs, shape (samples, points)."""
        (swept,) = stacked(self.plan, self.sweep, drawn).values()
        return self.follow(swept)


def _predicted(study: Study, entry: LoggedRunEntry, log: Log) -> _Prediction:
    where, logged = _logged(entry, log)
    if not float(np.ptp(where)) > 0:
        raise TableError(
            f"the {entry.along} does not change in this log, so there is nothing to lay along it",
            file=log.source.file,
            key=f"columns.{entry.along}",
            found=f"{float(from_si(where[0], _along_unit(study, entry.along))):.4g} in all {log.rows} rows",
            allowed=f"a run over a range of {entry.along}s",
        )
    if (along := entry.along) == "speed":
        at = np.linspace(max(float(where.min()), 0.0), float(where.max()), POINTS)
        sweep = _sweep(entry, entry.quantity, at)
        return _Prediction(at, sweep_plan(study, sweep, entry.condition), sweep, np.transpose)
    at = np.linspace(0.0, float(where.max()), 4 * POINTS)
    start = _first_speed(where, logged)
    speeds = np.linspace(max(start, WALKING), BEYOND * float(logged.max()), SPEEDS)
    sweep = _sweep(entry, "acceleration", speeds)

    def follow(pull: Array) -> Array:
        return speed_along(speeds, pull, start, at, along)

    return _Prediction(at, sweep_plan(study, sweep, entry.condition), sweep, follow)


def _sweep(entry: LoggedRunEntry, quantity: str, speeds: Array) -> Sweep:
    return Sweep("speed", "m/s", tuple(map(float, speeds)), (quantity,), (entry.condition,))


def _first_speed(where: Array, speed: Array) -> float:
    """Return the speed at the first row, its noise evened out by the line through the first few."""
    first = slice(0, min(FIRST_ROWS, len(speed)))
    _, level = np.polyfit(where[first] - where[0], speed[first], 1)
    return max(float(level), WALKING)


def _along_unit(study: Study, along: str) -> str:
    return study.unit_of(along) if along in study.graph else {"time": "s", "distance": "m"}[along]


def _noise(study: Study, entry: LoggedRunEntry, unit: str) -> float:
    si, _ = parse_spread(entry.noise, unit, study.graph[entry.quantity].unit)
    if si < 0:
        raise StudyError("a scatter is not below zero", key="noise", found=entry.noise)
    return float(spread_from_si(si, unit))


def _scraping(study: Study, entry: LoggedRunEntry, sweep: Sweep, log: Log) -> Iterator[str]:
    """Say how many of the cars stand on a point along the run: whether the logged one did is not known."""
    condition, (quantity,) = study.conditions[entry.condition], sweep.quantities
    reached = tuple(speed for speed in sweep.values if speed <= np.max(log["speed"]))
    sweep = replace(sweep, values=reached)
    if not standing_of(study.graph, quantity, {*study.given_names(condition.name), "speed"}):
        return
    if entry.along != "speed":
        # It is a run at full throttle, however the condition is driven.
        conditions = {**study.conditions, condition.name: replace(condition, throttle="full")}
        study = replace(study, conditions=conditions)
    if cars := cars_on_points_along(study, sweep, SAMPLES):
        yield (
            f"{cars} somewhere along this run, and the band is of cars that scrape there; look under the "
            "logged car whether it did"
        )


def _silence(silent: int, samples: int) -> Sequence[str]:
    if silent <= UNANSWERED * samples:
        return ()
    return (
        f"{silent} of {samples} predicted cars have no answer somewhere along this run and were left out",
    )
