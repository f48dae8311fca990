"""Least squares with what a workshop log needs: outliers, repeating rows, and quantities known only roughly.

A curve is fitted to one or several logged quantities at once.  What the log itself cannot tell comes in two
ways: as an expectation of a parameter (weighed against the log), or as a known quantity with a standard
uncertainty (carried through, JCGM 100 5.1.3 and 5.2).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np
from scipy.special import chdtrc

from explorer.errors import SampleError, with_file
from explorer.files.reading import Source
from explorer.graph.arrays import Array, Mask
from explorer.logs.fitting.fit import (
    Fit,
    Known,
    LackOfFit,
    Residuals,
    combined_degrees_of_freedom,
    inseparable_pairs,
)
from explorer.logs.fitting.lack_of_fit import FLAG_BELOW, lack_of_fit
from explorer.logs.fitting.problem import Observations, Parameter, Predict, Problem
from explorer.logs.fitting.scatter import (
    OUTLIER_LIMIT,
    SOFT_LIMIT,
    Scatter,
    first_scatter,
    influence,
    measured_scatter,
    parameters_fitted_by,
    weighted_jacobian,
)

Loss: TypeAlias = Literal["auto", "linear", "soft_l1"]

# With fewer rows to spare than this the robust scale is worse than the outliers it guards against.
FEWEST_FOR_ROBUST = 20
MOST_PASSES = 20
# Parameters that move every prediction in the same way to within this cannot be told apart.
WORST_CONDITION = 1e10
# More rows left out than this, and the curve rather than the logger is in doubt.
MOST_OUTLIERS = 0.2


@dataclass(frozen=True)
class _Solution:
    """Where the search ended."""

    problem: Problem
    unknowns: Array
    scatter: Scatter
    used: Mask
    robust: bool

    @property
    def scale(self) -> Array:
        """Standard deviation of each row."""
        return np.asarray(self.scatter.scale[self.problem.observations.channel])

    @property
    def abscissa(self) -> Array:
        """What each row is plotted against."""
        observations = self.problem.observations
        if observations.abscissa is not None:
            return observations.abscissa
        return observations.values - self.problem.residuals(self.unknowns)


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
    """
    problem = Problem.stated(predict, observations, parameters, known)
    file = ", ".join(dict.fromkeys(source.file for source in sources)) or None
    with with_file(file):
        _check_rows(problem, kind)
        solution = _solved(problem, loss)
        inverse = _inverse(solution, kind)
    return _reported(solution, inverse, kind, known_correlation, tuple(sources), tuple(notes))


def _check_rows(problem: Problem, kind: str) -> None:
    rows = len(problem.observations.values) + len(problem.expected_values)
    needed = len(problem.parameters) + (0 if problem.observations.standard_deviations else 1)
    if rows < needed:
        raise SampleError(
            f"too few rows for a {kind}",
            found=f"{rows} rows for {len(problem.parameters)} unknowns",
            allowed=f"at least {needed}",
            remedy="log more rows",
        )
    if not np.isfinite(problem.observations.values).all():
        raise SampleError(f"a row of the {kind} holds no number", remedy="leave such rows out first")


def _solved(problem: Problem, loss: Loss) -> _Solution:
    """Alternate between the fit and the scatter it leaves, until the scatter no longer changes."""
    observations = problem.observations
    used = np.ones(len(observations.values), bool)
    robust = loss == "soft_l1" or (
        loss == "auto" and len(used) - len(problem.parameters) >= FEWEST_FOR_ROBUST
    )
    unknowns = np.clip([p.start / p.size for p in problem.parameters], *problem.bounds)
    scatter = first_scatter(problem, unknowns)
    unknowns = _minimised(problem, unknowns, scatter, used, robust=False, exactly=not robust)
    one_pass = not robust and not len(problem.expected_values) and len(observations.channels) == 1
    # Rows are left out only once their scatter has settled: a poor first fit would leave out good ones.
    leaving_out = False
    for _ in range(MOST_PASSES):
        before = scatter
        scatter = measured_scatter(problem, unknowns, before, used, robust)
        settled = bool(np.all(np.abs(scatter.variance - before.variance) <= 1e-2 * scatter.variance))
        if one_pass or (settled and leaving_out == robust):
            break
        leaving_out = leaving_out or (robust and settled)
        if leaving_out:
            limit = OUTLIER_LIMIT * scatter.scale[observations.channel]
            used = np.abs(problem.residuals(unknowns)) <= limit
        unknowns = _minimised(problem, unknowns, scatter, used, robust, exactly=not robust)
    return _Solution(problem, unknowns, scatter, used, robust)


def _minimised(
    problem: Problem, start: Array, scatter: Scatter, used: Mask, robust: bool, *, exactly: bool
) -> Array:
    channel = problem.observations.channel
    scale = scatter.scale[channel]
    # A row that repeats its neighbours pulls less against expectations and against other channels.
    share = (scatter.scale**2 / scatter.variance)[channel]
    logged = slice(0, len(channel))

    def residuals(unknowns: Array) -> Array:
        z = np.where(used, problem.residuals(unknowns) / scale, 0.0)
        return np.concatenate([z, problem.expected_values - problem.expected_rows @ unknowns])

    def jacobian(unknowns: Array) -> Array:
        moved = problem.jacobian(unknowns) * np.where(used, -1 / scale, 0.0)[:, None]
        return np.concatenate([moved, -problem.expected_rows])

    def cost(squares: Any) -> Any:
        """Give the loss of each squared residual and its first two derivatives."""
        loss = np.stack([squares, np.ones_like(squares), np.zeros_like(squares)])
        if robust:
            t = 1 + squares[logged] / SOFT_LIMIT**2
            loss[0, logged] = 2 * SOFT_LIMIT**2 * (np.sqrt(t) - 1)
            loss[1, logged] = t**-0.5
            loss[2, logged] = -0.5 * t**-1.5 / SOFT_LIMIT**2
        loss[:, logged] *= share
        return loss

    plain = not robust and bool(np.all(share == 1))
    loss: Any = "linear" if plain else cost
    from scipy.optimize import least_squares  # takes its time to load, which a check need not

    solution = least_squares(
        residuals,
        start,
        # One-sided differences do where outliers set the accuracy, at half the price.
        jac=jacobian if exactly else "2-point",
        bounds=problem.bounds,
        loss=loss,
        x_scale="jac",
        xtol=1e-10,
        ftol=1e-15 if exactly else 1e-9,
        gtol=1e-14,
        max_nfev=400,
    )
    return np.asarray(solution.x)


def _inverse(solution: _Solution, kind: str) -> Array:
    """Covariance of the unknowns from scatter and expectations.

    Raises
    ------
    SampleError
        Naming the parameters that cannot be told apart.
    """
    problem = solution.problem
    weighted = weighted_jacobian(problem, solution.unknowns, solution.scatter, solution.used)
    norms = np.linalg.norm(weighted, axis=0)
    if not np.isfinite(norms).all():
        raise SampleError(
            f"the model of the {kind} gives no number for some rows", remedy="check the start values"
        )
    _, sizes, directions = np.linalg.svd(weighted / np.maximum(norms, 1e-300), full_matrices=False)
    if norms.min() == 0 or sizes[-1] * WORST_CONDITION < sizes[0]:
        together = np.abs(directions[-1]) > 0.1 if norms.min() > 0 else norms == 0
        names = [p.name for p, within in zip(problem.parameters, together, strict=True) if within]
        values = ", ".join(f"{p.name} = {p.start:.4g}" for p in problem.parameters if p.name in names)
        raise SampleError(
            f"this {kind} cannot tell {' and '.join(names)} " + ("apart" if len(names) > 1 else "at all"),
            found=f"every row moves in the same way for them; started from {values}",
            remedy="log over a wider range, or give one of them with its uncertainty",
        )
    scaled = directions / sizes[:, None]
    return np.asarray(scaled.T @ scaled / np.outer(norms, norms))


def _reported(
    solution: _Solution,
    inverse: Array,
    kind: str,
    known_correlation: Array | None,
    sources: tuple[Source, ...],
    notes: tuple[str, ...],
) -> Fit:
    problem, scatter = solution.problem, solution.scatter
    sizes, known = problem.sizes, problem.known
    shifts = _shifts_for_known(solution, inverse) * sizes[:, None]
    own = inverse * np.outer(sizes, sizes)
    total = own + shifts @ (np.eye(len(known)) if known_correlation is None else known_correlation) @ shifts.T
    estimates = solution.unknowns * sizes
    shown = [i for i, parameter in enumerate(problem.parameters) if not parameter.of_log]
    aside = [i for i, parameter in enumerate(problem.parameters) if parameter.of_log]
    names = tuple(problem.parameters[i].name for i in shown)
    box = np.ix_(shown, shown)
    effective, freedom = _independent_rows(solution)
    misfit = _misfit(solution)
    chi_squared = _chi_squared(solution)
    found = _doubts(solution, effective, misfit, chi_squared)
    return Fit(
        kind=kind,
        names=names,
        units=tuple(problem.parameters[i].unit for i in shown),
        estimates=estimates[shown],
        covariance=total[box],
        scatter_covariance=own[box],
        degrees_of_freedom=combined_degrees_of_freedom(own[box], total[box], max(freedom, 1.0)),
        contributions={each.name: shifts[shown, j] for j, each in enumerate(known)},
        known=known,
        known_correlation=known_correlation,
        log_values={
            problem.parameters[i].name: (float(estimates[i]), float(np.sqrt(total[i, i]))) for i in aside
        },
        rows=int(np.count_nonzero(solution.used)),
        effective_rows=effective,
        outliers=int(np.count_nonzero(~solution.used)),
        residual_sd=tuple(float(scale) for scale in scatter.scale),
        chi_squared=chi_squared,
        lack_of_fit=misfit,
        residuals=_residuals(solution),
        sources=sources,
        notes=(*notes, *found, *inseparable_pairs(names, total[box])),
        weakness="" if freedom >= 1 else f"the log is worth only {effective:.1f} independent rows",
    )


def _shifts_for_known(solution: _Solution, inverse: Array) -> Array:
    """Change of each unknown for one standard uncertainty of each known quantity, shape (unknowns, known).

    The fit stays at its minimum while the known quantity moves: implicit differentiation of J^T W r = 0.
    """
    problem = solution.problem
    rows = len(problem.observations.values)
    weighted = weighted_jacobian(problem, solution.unknowns, solution.scatter, solution.used)[:rows]
    weight = solution.used / np.sqrt(solution.scatter.variance)[problem.observations.channel]
    change = problem.change_for_known(solution.unknowns) * weight[:, None]
    return np.asarray(-inverse @ (weighted.T @ change))


def _independent_rows(solution: _Solution) -> tuple[float, float]:
    """Rows the log is worth, and how many of them are to spare."""
    observations, scatter = solution.problem.observations, solution.scatter
    counts = np.bincount(observations.channel[solution.used], minlength=len(scatter.repeats))
    effective = float(np.sum(counts / scatter.repeats))
    if observations.standard_deviations:
        return effective, np.inf
    weighted = weighted_jacobian(solution.problem, solution.unknowns, scatter, solution.used)
    return effective, effective - parameters_fitted_by(weighted, solution.used)


def _misfit(solution: _Solution) -> LackOfFit | None:
    """Worst lack of fit of the logged quantities, its chance allowing for the look at several."""
    observations = solution.problem.observations
    z = solution.problem.residuals(solution.unknowns) / solution.scale
    pull, _ = influence(z, solution.robust)
    jacobian = solution.problem.jacobian(solution.unknowns) / solution.scale[:, None]
    found = []
    for channel in observations.channels:
        rows = solution.used & (observations.channel == channel)
        scale = float(solution.scatter.scale[channel])
        if np.any(rows):
            run, along = observations.run[rows], solution.abscissa[rows]
            found.append(
                lack_of_fit(pull[rows], jacobian[rows], along, run, scale, looks=len(observations.channels))
            )
    tested = [misfit for misfit in found if misfit is not None]
    return min(tested, key=lambda misfit: misfit.p_value) if tested else None


def _chi_squared(solution: _Solution) -> float | None:
    if not solution.problem.observations.standard_deviations:
        return None
    z = (solution.problem.residuals(solution.unknowns) / solution.scale)[solution.used]
    return float(z @ z)


def _doubts(
    solution: _Solution, effective: float, misfit: LackOfFit | None, chi_squared: float | None
) -> Iterator[str]:
    """Say in words what should make one doubt the fit."""
    problem, used = solution.problem, solution.used
    rows, outliers = len(used), int(np.count_nonzero(~used))
    if outliers:
        yield f"{outliers} of {rows} rows left out as outliers, beyond {OUTLIER_LIMIT:g} standard deviations"
    if outliers > MOST_OUTLIERS * rows:
        yield "so many outliers put the model in doubt, not the logger"
    if effective < 0.8 * (rows - outliers):
        yield (
            f"successive rows repeat each other: {rows - outliers} rows are worth {effective:.0f}, "
            "and the uncertainties allow for it"
        )
    if misfit is not None and misfit.flagged:
        yield (
            f"lack of fit: the residuals follow a pattern of up to {abs(misfit.largest):.3g} "
            f"{problem.observations.channel_units[0]}, worst at {problem.observations.abscissa_name} = "
            f"{misfit.at:.4g} (chance {misfit.p_value:.1g}); the model leaves something out"
        )
    if (
        chi_squared is not None
        and chdtrc(max(rows - outliers - len(problem.parameters), 1), chi_squared) < FLAG_BELOW
    ):
        yield "the residuals are larger than the stated scatter allows"
    low, high = problem.bounds
    for i, parameter in enumerate(problem.parameters):
        if min(solution.unknowns[i] - low[i], high[i] - solution.unknowns[i]) < 1e-8:
            yield (
                f"{parameter.name} lies at the edge of what is physically possible; "
                "its uncertainty is not reliable"
            )


def _residuals(solution: _Solution) -> Residuals:
    observations = solution.problem.observations
    residual = solution.problem.residuals(solution.unknowns)
    z = residual / solution.scale
    pull, _ = influence(z, solution.robust)
    weight = np.divide(pull, z, out=np.ones_like(z), where=z != 0) * solution.used
    return Residuals(
        abscissa=solution.abscissa,
        observed=observations.values,
        predicted=observations.values - residual,
        residual=residual,
        weight=weight,
        run=observations.run,
        channel=observations.channel,
        abscissa_name=observations.abscissa_name,
        channel_names=observations.channel_names,
        channel_units=observations.channel_units,
    )
