"""From the estimates of a fit to other quantities, with the covariance carried along."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit, Known, combined_degrees_of_freedom, inseparable_pairs


@dataclass(frozen=True)
class Derived:
    """A quantity computed from others: its SI unit, and a function of all values by name."""

    unit: str
    function: Callable[[Mapping[str, float]], float]


def derived(
    fit: Fit, quantities: Mapping[str, Derived], known: Sequence[Known] = (), *, kind: str | None = None
) -> Fit:
    """Compute quantities from the estimates and from further known ones.

    Source: JCGM 100 5.2.2 (correlated input quantities) and H.2 (several results at once).

    Parameters
    ----------
    fit:
        Estimates and their covariance.
    quantities:
        Name -> unit and function.
    known:
        Further quantities the functions use.  One that the fit used already must be the same one: what it
        does to the estimates and what it does here add up before they are squared.
    kind:
        What was measured, when that is better said of the results.

    Returns
    -------
    Fit
        The quantities in place of the estimates; all else is carried over.
    """
    values = {**dict(zip(fit.names, fit.estimates, strict=True)), **{k.name: k.value for k in known}}
    results = np.array([each.function(values) for each in quantities.values()])
    spreads = dict(zip(fit.names, fit.standard_uncertainties, strict=True))
    slopes = np.stack([_change(quantities, values, name, spreads[name]) for name in fit.names], axis=-1)
    contributions = {name: slopes @ shift for name, shift in fit.contributions.items()}
    for each in known:
        direct = _change(quantities, values, each.name, each.standard_uncertainty) * each.standard_uncertainty
        contributions[each.name] = contributions.get(each.name, 0.0) + direct
    scatter = slopes @ fit.scatter_covariance @ slopes.T
    shifts = np.array(list(contributions.values())).reshape(-1, len(results)).T
    correlation = np.eye(len(contributions))
    if fit.known_correlation is not None:
        correlation[: len(fit.known), : len(fit.known)] = fit.known_correlation
    total = scatter + shifts @ correlation @ shifts.T
    # The scatter's own degrees of freedom: those of the estimate in which it has the largest share.
    freedom = float(np.min(fit.degrees_of_freedom))
    names = tuple(quantities)
    added = [each for each in known if each.name not in fit.contributions]
    return replace(
        fit,
        kind=kind or fit.kind,
        names=names,
        units=tuple(each.unit for each in quantities.values()),
        estimates=results,
        covariance=total,
        scatter_covariance=scatter,
        degrees_of_freedom=combined_degrees_of_freedom(scatter, total, freedom),
        contributions=contributions,
        known=(*fit.known, *added),
        known_correlation=correlation if fit.known_correlation is not None else None,
        notes=tuple(dict.fromkeys((*fit.notes, *inseparable_pairs(names, total)))),
    )


def _change(
    quantities: Mapping[str, Derived], values: Mapping[str, float], name: str, spread: float
) -> Array:
    """Change of each quantity per unit change of one value (JCGM 100 5.1.3, note 2)."""
    if spread == 0:
        return np.zeros(len(quantities))
    # A fraction of the uncertainty, so that a curved function is met by its tangent.
    step = 1e-3 * spread
    up, down = {**values, name: values[name] + step}, {**values, name: values[name] - step}
    return np.array([(each.function(up) - each.function(down)) / (2 * step) for each in quantities.values()])
