"""Least squares with what a workshop log needs: outliers, repeating rows, and quantities known only roughly.

A curve is fitted to one or several logged quantities at once.  What the log itself cannot tell comes in two
ways: as an expectation of a parameter (weighed against the log), or as a known quantity with a standard
uncertainty (carried through, JCGM 100 5.1.3 and 5.2).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

import numpy as np
from scipy.optimize import least_squares

from explorer.errors import SampleError
from explorer.fitting.fit import (
    Fit,
    Known,
    Residuals,
    combined_degrees_of_freedom,
    inseparable_pairs,
)
from explorer.fitting.independence import repetition
from explorer.fitting.lack_of_fit import lack_of_fit
from explorer.logs import Source
from explorer.quantity import Array

Loss: TypeAlias = Literal["auto", "linear", "soft_l1"]
Predict: TypeAlias = Callable[[Array, Array], Array]

# Residuals past this many standard deviations count ever less (98.6 % efficient on normal scatter).
SOFT_LIMIT = 2.5
# Residuals past this many are left out: a dropout, not scatter.
OUTLIER_LIMIT = 6.0
# With fewer rows to spare than this the robust scale is worse than the outliers it guards against.
FEWEST_FOR_ROBUST = 20
MOST_PASSES = 10
# Parameters that move a prediction in the same way to within this cannot be told apart.
WORST_CONDITION = 1e10
NORMAL_CONSISTENT = 1.482602218505602


@dataclass(frozen=True)
class Parameter:
    """Something to be found.

    Attributes
    ----------
    name, unit:
        Quantity and its SI unit.
    start:
        Where the search begins.
    scale:
        A typical size; the start's own where it is not nought.
    low, high:
        Bounds that physics sets.
    expected:
        What is believed without this log: value and standard uncertainty, or None.
    of_log:
        True for what only this log has, as in a run's first speed: reported aside, never fed back.
    """

    name: str
    unit: str
    start: float
    scale: float = 0.0
    low: float = -np.inf
    high: float = np.inf
    expected: tuple[float, float] | None = None
    of_log: bool = False

    @property
    def size(self) -> float:
        """Size by which the search measures its steps."""
        return self.scale or abs(self.start) or 1.0


@dataclass(frozen=True)
class Observations:
    """What was logged, all quantities and runs one after the other; arrays of shape (rows,).

    Attributes
    ----------
    values, abscissa:
        The logged quantity, and what it is plotted against.
    run, channel:
        Number of the run, and of the logged quantity; rows of one run and channel follow each other in time.
    abscissa_name, channel_names, channel_units:
        For axes and messages.
    standard_deviations:
        Known scatter of each channel, or None to take it from the residuals.
    """

    values: Array
    abscissa: Array
    run: Array
    channel: Array
    abscissa_name: str
    channel_names: tuple[str, ...]
    channel_units: tuple[str, ...]
    standard_deviations: tuple[float, ...] | None = None

    @classmethod
    def single(
        cls,
        values: Array,
        abscissa: Array,
        *,
        name: str,
        unit: str,
        abscissa_name: str,
        run: Array | None = None,
        standard_deviation: float | None = None,
    ) -> Observations:
        """Make the observations of one logged quantity."""
        return cls(
            values=values,
            abscissa=abscissa,
            run=np.zeros(len(values), int) if run is None else run,
            channel=np.zeros(len(values), int),
            abscissa_name=abscissa_name,
            channel_names=(name,),
            channel_units=(unit,),
            standard_deviations=None if standard_deviation is None else (standard_deviation,),
        )


@dataclass(frozen=True)
class _Noise:
    """Scatter of each channel: robust standard deviation, rows that repeat, and the variance of an equation."""

    scale: Array
    repeats: Array
    variance: Array


@dataclass(frozen=True)
class _Problem:
    """The fit in unknowns of size one, with everything that stays fixed while it is solved."""

    predict: Predict
    observations: Observations
    parameters: tuple[Parameter, ...]
    known: Array
    sizes: Array
    prior_rows: Array
    prior_values: Array

    def residuals(self, unknowns: Array) -> Array:
        return self.observations.values - self.predict(unknowns * self.sizes, self.known)

    def jacobian(self, unknowns: Array) -> Array:
        """Change of the prediction for each unknown, shape (rows, parameters), by central differences."""
        columns = []
        for i, parameter in enumerate(self.parameters):
            step = 1e-5 * max(1.0, abs(unknowns[i]))
            up, down = unknowns.copy(), unknowns.copy()
            up[i] = min(unknowns[i] + step, parameter.high / self.sizes[i])
            down[i] = max(unknowns[i] - step, parameter.low / self.sizes[i])
            change = self.predict(up * self.sizes, self.known) - self.predict(down * self.sizes, self.known)
            columns.append(change / (up[i] - down[i]))
        return np.stack(columns, axis=-1)


def fit_curve(
    predict: Predict,
    observations: Observations,
    parameters: Sequence[Parameter],
    *,
    kind: str,
    known: Sequence[Known] = (),
    known_correlation: Array | None = None,
    loss: Loss = "auto",
    sources: Sequence[Source] = (),
    notes: Sequence[str] = (),
) -> Fit:
    """Fit a curve and say how well its parameters are known.

    Parameters
    ----------
    predict:
        From parameter values (parameters,) and known values (known,) to predictions (rows,), SI units.
    observations:
        What was logged.
    parameters:
        What to find.
    kind:
        What was measured, in words.
    known, known_correlation:
        Quantities taken from elsewhere, and their correlation matrix when they are correlated.
    loss:
        "linear" is plain least squares; "soft_l1" weighs doubtful rows down and leaves gross ones out; "auto"
        takes the latter where there are rows enough to know the scatter.
    sources, notes:
        Carried into the result.

    Raises
    ------
    SampleError
        With fewer rows than parameters, or with parameters that the log cannot tell apart at all.

    Notes
    -----
    Covariance of the robust estimate: Huber, "Robust Statistics" (1981), section 7.6; it becomes the usual
    one without outliers.
    """
    problem = _stated(predict, observations, parameters, known)
    _check_rows(problem, kind, sources)
    unknowns, noise, used, robust = _solved(problem, loss)
    return _reported(problem, unknowns, noise, used, robust, kind, tuple(known), known_correlation, sources, notes)


def _stated(
    predict: Predict, observations: Observations, parameters: Sequence[Parameter], known: Sequence[Known]
) -> _Problem:
    sizes = np.array([parameter.size for parameter in parameters])
    expected = [(i, p.expected) for i, p in enumerate(parameters) if p.expected is not None]
    rows = np.zeros((len(expected), len(parameters)))
    values = np.zeros(len(expected))
    for row, (i, (value, spread)) in enumerate(expected):
        rows[row, i] = sizes[i] / spread
        values[row] = value / spread
    return _Problem(
        predict, observations, tuple(parameters), np.array([k.value for k in known]), sizes, rows, values
    )


def _check_rows(problem: _Problem, kind: str, sources: Sequence[Source]) -> None:
    rows, needed = len(problem.observations.values) + len(problem.prior_values), len(problem.parameters)
    spare = 0 if problem.observations.standard_deviations else 1
    if rows < needed + spare:
        raise SampleError(
            f"too few rows for the {kind}",
            file=", ".join(source.file for source in sources) or None,
            found=f"{rows} rows for {needed} unknowns",
            allowed=f"at least {needed + spare}",
            remedy="log more rows",
        )


def _solved(problem: _Problem, loss: Loss) -> tuple[Array, _Noise, Array, bool]:
    """Alternate between the fit and the scatter it leaves, until the scatter no longer changes."""
    observations = problem.observations
    used = np.ones(len(observations.values), bool)
    spare = len(used) - len(problem.parameters)
    robust = loss == "soft_l1" or (loss == "auto" and spare >= FEWEST_FOR_ROBUST)
    unknowns = np.array([p.start for p in problem.parameters]) / problem.sizes
    noise = _first_noise(problem, unknowns)
    unknowns = _minimised(problem, unknowns, noise, used, robust=False)
    single = not len(problem.prior_values) and len(observations.channel_names) == 1
    for _ in range(MOST_PASSES):
        before = noise
        noise = _noise(problem, unknowns, noise, used, robust)
        if (single and not robust) or _settled(before, noise):
            break
        if robust:
            residuals = np.abs(problem.residuals(unknowns))
            used = residuals <= OUTLIER_LIMIT * noise.scale[observations.channel]
        unknowns = _minimised(problem, unknowns, noise, used, robust)
    return unknowns, noise, used, robust


def _settled(before: _Noise, after: _Noise) -> bool:
    return bool(np.all(np.abs(after.variance - before.variance) <= 1e-3 * after.variance))


def _first_noise(problem: _Problem, unknowns: Array) -> _Noise:
    observations = problem.observations
    channels = len(observations.channel_names)
    if observations.standard_deviations:
        scale = np.array(observations.standard_deviations)
    else:
        residuals = problem.residuals(unknowns)
        spread = [np.std(residuals[observations.channel == c]) for c in range(channels)]
        scale = np.where(np.array(spread) > 0, spread, 1.0)
    return _Noise(scale, np.ones(channels), scale**2)


def _minimised(problem: _Problem, start: Array, noise: _Noise, used: Array, robust: bool) -> Array:
    observations = problem.observations
    scale = noise.scale[observations.channel]
    # A row that repeats its neighbours pulls less against what was expected and against other channels.
    pull = np.sqrt(noise.scale**2 / noise.variance)[observations.channel]
    data_rows = len(scale)

    def residuals(unknowns: Array) -> Array:
        z = np.where(used, problem.residuals(unknowns) / scale, 0.0)
        return np.concatenate([z, problem.prior_values - problem.prior_rows @ unknowns])

    def cost(squares: Array) -> Array:
        """Give the loss of each squared residual, and its first two derivatives."""
        loss = np.stack([squares, np.ones_like(squares), np.zeros_like(squares)])
        if robust:
            t = 1 + squares[:data_rows] / SOFT_LIMIT**2
            loss[:, :data_rows] = [
                2 * SOFT_LIMIT**2 * (np.sqrt(t) - 1),
                t**-0.5,
                -0.5 * t**-1.5 / SOFT_LIMIT**2,
            ]
        loss[:, :data_rows] *= pull**2
        return loss

    low = np.array([p.low for p in problem.parameters]) / problem.sizes
    high = np.array([p.high for p in problem.parameters]) / problem.sizes
    plain = not robust and bool(np.all(pull == 1))
    solution = least_squares(
        residuals,
        np.clip(start, low, high),
        bounds=(low, high),
        loss="linear" if plain else cost,
        x_scale="jac",
        xtol=1e-11,
        ftol=1e-12,
        gtol=1e-12,
        max_nfev=400,
    )
    return np.asarray(solution.x)


def _influence(z: Array, robust: bool) -> tuple[Array, Array]:
    """Pull of a residual on the fit, and how the pull changes with it: nought for one that is left out."""
    if not robust:
        return z, np.ones_like(z)
    t = 1 + (z / SOFT_LIMIT) ** 2
    return z * t**-0.5, t**-1.5


def _noise(problem: _Problem, unknowns: Array, before: _Noise, used: Array, robust: bool) -> _Noise:
    observations = problem.observations
    residuals = problem.residuals(unknowns)
    weighted = _weighted_jacobian(problem, unknowns, before, used)
    channels = range(len(observations.channel_names))
    scale, repeats, variance = before.scale.copy(), before.repeats.copy(), before.variance.copy()
    for channel in channels:
        rows = (observations.channel == channel) & used
        mine = residuals[rows]
        fitted = _parameters_fitted_by(weighted, rows)
        if not len(mine):
            continue
        if not observations.standard_deviations:
            scale[channel] = _scale(mine, fitted, robust)
        pull, slope = _influence(mine / scale[channel], robust)
        repeats[channel] = repetition(pull, observations.run[rows])
        spare = len(mine) - fitted * repeats[channel]
        if observations.standard_deviations:
            unit = 1.0
        else:
            # Fewer than one independent row to spare is reported as a weakness, not as an exact fit.
            unit = float(pull @ pull) / max(spare, 1e-9 * len(mine)) if spare > 0 else float(pull @ pull)
        mean_slope = float(slope.mean())
        correction = (1 + fitted / len(mine) * float(slope.var()) / mean_slope**2) ** 2
        variance[channel] = scale[channel] ** 2 * unit * correction / mean_slope**2 * repeats[channel]
    return _Noise(scale, repeats, variance)


def _scale(residuals: Array, fitted: float, robust: bool) -> float:
    """Standard deviation of residuals, from their median size where outliers are to be expected."""
    spare = max(len(residuals) - fitted, 1.0)
    root = float(np.sqrt(residuals @ residuals / spare))
    middle = NORMAL_CONSISTENT * float(np.median(np.abs(residuals))) * np.sqrt(len(residuals) / spare)
    tiny = 1e-12 * max(float(np.max(np.abs(residuals))), 1e-300)
    return max(middle if robust and middle > 0 else root, tiny)


def _weighted_jacobian(problem: _Problem, unknowns: Array, noise: _Noise, used: Array) -> Array:
    """Jacobian in units of each row's scatter, with the expectations below it."""
    weight = used / np.sqrt(noise.variance)[problem.observations.channel]
    return np.concatenate([problem.jacobian(unknowns) * weight[:, None], problem.prior_rows])


def _parameters_fitted_by(weighted: Array, rows: Array) -> float:
    """How many parameters these rows determine: the sum of their leverages."""
    basis, _ = np.linalg.qr(weighted / np.maximum(np.linalg.norm(weighted, axis=0), 1e-300))
    return float(np.sum(basis[: len(rows)][rows] ** 2))


def _reported(
    problem: _Problem,
    unknowns: Array,
    noise: _Noise,
    used: Array,
    robust: bool,
    kind: str,
    known: tuple[Known, ...],
    known_correlation: Array | None,
    sources: Sequence[Source],
    notes: Sequence[str],
) -> Fit:
    observations, parameters = problem.observations, problem.parameters
    residuals = problem.residuals(unknowns)
    z = residuals / noise.scale[observations.channel]
    pull, slope = _influence(z, robust)
    pull, slope = pull * used, slope * used
    jacobian = problem.jacobian(unknowns)
    weighted = _weighted_jacobian(problem, unknowns, noise, used)
    inverse = _inverse(weighted, parameters, kind, sources)
    moved = _moved_by_known(problem, unknowns, known, weighted[: len(z)], inverse)
    correlation = np.eye(len(known)) if known_correlation is None else known_correlation
    sizes = problem.sizes
    scatter = inverse * np.outer(sizes, sizes)
    shifts = moved * sizes[:, None]
    total = scatter + shifts @ correlation @ shifts.T
    counts = np.array([np.count_nonzero(used & (observations.channel == c)) for c in range(len(noise.scale))])
    effective = float(np.sum(counts / noise.repeats))
    fitted = _parameters_fitted_by(weighted, used)
    freedom = np.inf if observations.standard_deviations else effective - fitted
    shown = [i for i, parameter in enumerate(parameters) if not parameter.of_log]
    aside = [i for i, parameter in enumerate(parameters) if parameter.of_log]
    estimates = unknowns * sizes
    total_shown, scatter_shown = total[np.ix_(shown, shown)], scatter[np.ix_(shown, shown)]
    names = tuple(parameters[i].name for i in shown)
    misfit = lack_of_fit(
        pull[used],
        jacobian[used] / noise.scale[observations.channel[used]][:, None],
        observations.abscissa[used],
        observations.run[used] + 1000 * observations.channel[used],
        float(noise.scale[0]),
    )
    outliers = int(np.count_nonzero(~used))
    weight = np.where(z == 0, 1.0, np.divide(pull, z, out=np.ones_like(z), where=z != 0)) * used
    all_notes = [*notes, *_notes(problem, effective, counts, outliers, misfit, estimates)]
    all_notes += inseparable_pairs(names, total_shown)
    return Fit(
        kind=kind,
        names=names,
        units=tuple(parameters[i].unit for i in shown),
        estimates=estimates[shown],
        covariance=total_shown,
        scatter_covariance=scatter_shown,
        degrees_of_freedom=combined_degrees_of_freedom(scatter_shown, total_shown, max(freedom, 1.0)),
        contributions={k.name: shifts[shown, j] for j, k in enumerate(known)},
        known=known,
        log_values={parameters[i].name: (float(estimates[i]), float(np.sqrt(total[i, i]))) for i in aside},
        rows=int(counts.sum()),
        effective_rows=effective,
        outliers=outliers,
        residual_sd=tuple(float(s) for s in noise.scale),
        chi_squared=float(pull @ pull) if observations.standard_deviations else None,
        lack_of_fit=misfit,
        residuals=Residuals(
            observations.abscissa,
            observations.values,
            observations.values - residuals,
            residuals,
            weight,
            observations.run,
            observations.channel,
            observations.abscissa_name,
            observations.channel_names,
            observations.channel_units,
        ),
        sources=tuple(sources),
        notes=tuple(dict.fromkeys(all_notes)),
        weakness=_weakness(freedom, effective),
    )
