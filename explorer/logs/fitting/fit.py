"""What a fit hands back: estimates, how well they are known, and what should make one doubt them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from explorer.errors import SampleError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.graph.words import Sentence, in_unit
from explorer.graph.written import rounded, rounded_spread, with_unit

Labels: TypeAlias = npt.NDArray[np.int_]

# Two estimates more closely correlated than this are said not to be separated by the log (common practice).
INSEPARABLE = 0.95


@dataclass(frozen=True)
class Known:
    """A quantity the fit takes from elsewhere, with its standard uncertainty, all in SI units."""

    name: str
    value: float
    standard_uncertainty: float
    unit: str
    source: str = ""


@dataclass(frozen=True)
class LackOfFit:
    """Test of whether the residuals hold a pattern that the model should have followed.

    Attributes
    ----------
    statistic, p_value:
        F statistic of the smooth pattern, and the chance of one as large from scatter alone.
    flagged:
        True when scatter alone is not a believable explanation.
    largest, at:
        Largest value of the smooth pattern, in the unit of the observation, and the abscissa where it stands.
    """

    statistic: float
    p_value: float
    flagged: bool
    largest: float
    at: float


@dataclass(frozen=True)
class Residuals:
    """Every row the fit looked at, for plotting; all arrays have shape (rows,).

    Attributes
    ----------
    abscissa, observed, predicted, residual:
        What it is plotted against, what was logged, what the model says, and logged minus model.
    weight:
        1 for a row taken in full, less for a doubtful one, 0 for one left out as an outlier.
    run, channel:
        Number of the run and of the observed quantity each row belongs to.
    abscissa_name, channel_names, channel_units:
        What they are, for the axes.
    """

    abscissa: Array
    observed: Array
    predicted: Array
    residual: Array
    weight: Array
    run: Labels
    channel: Labels
    abscissa_name: str
    channel_names: tuple[str, ...]
    channel_units: tuple[str, ...]


@dataclass(frozen=True)
class Fit:
    """Estimates from logs, with their covariance and what it is made of.  SI units throughout.

    Attributes
    ----------
    kind:
        What was measured, as in "coast-down".
    names, units, estimates:
        Quantities found; estimates of shape (quantities,).
    covariance:
        Shape (quantities, quantities); scatter and known quantities together.
    scatter_covariance:
        The part due to the scatter of the log, inflated for successive rows that repeat each other.
    contributions:
        For each known quantity, the change of every estimate for one standard uncertainty of it.
    degrees_of_freedom:
        Of each estimate's standard uncertainty (Welch-Satterthwaite, JCGM 100 G.4.1).
    known, known_correlation:
        The quantities taken from elsewhere, and their correlation (None when they have none).
    log_values:
        What the fit had to find besides: name -> (estimate, standard uncertainty), as in a run's first speed.
    rows, effective_rows, outliers:
        Rows used, how many independent rows they are worth, and how many were left out as outliers.
    residual_sd:
        Standard deviation of the residuals, one for each observed quantity.
    chi_squared:
        Sum of squared residuals over known variances; None when the scatter was estimated from the log.
    lack_of_fit:
        None when there are too few rows to test it.
    notes:
        What can and cannot be inferred, in words for the report.
    weakness:
        Why the result should not be used; empty when it may.
    """

    kind: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    estimates: Array
    covariance: Array
    scatter_covariance: Array
    degrees_of_freedom: Array
    contributions: Mapping[str, Array] = field(default_factory=dict)
    known: tuple[Known, ...] = ()
    known_correlation: Array | None = None
    log_values: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    rows: int = 0
    effective_rows: float = 0.0
    outliers: int = 0
    residual_sd: tuple[float, ...] = ()
    chi_squared: float | None = None
    lack_of_fit: LackOfFit | None = None
    residuals: Residuals | None = None
    sources: tuple[Source, ...] = ()
    notes: tuple[Sentence, ...] = ()
    weakness: Sentence = ""

    @property
    def standard_uncertainties(self) -> Array:
        """Standard uncertainty of each estimate."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    @property
    def correlation(self) -> Array:
        """Correlation matrix of the estimates."""
        return correlation_of(self.covariance)

    @property
    def source(self) -> str:
        """Where the numbers come from: file, date and digest of every log."""
        if len(self.sources) < 2:
            return "".join(source.text for source in self.sources)
        kind = "synthetic logs (made, not measured)" if any(s.synthetic for s in self.sources) else "logs"
        columns = (
            dict.fromkeys(source.file for source in self.sources),
            dict.fromkeys(source.date for source in self.sources),
            (f"sha256 {source.sha256[:12]}" for source in self.sources),
        )
        return f"{len(self.sources)} {kind} " + "; ".join(", ".join(column) for column in columns)

    def value(self, name: str) -> float:
        """Return one estimate by name."""
        return float(self.estimates[self.names.index(name)])

    def standard_uncertainty(self, name: str) -> float:
        """Return one standard uncertainty by name."""
        return float(self.standard_uncertainties[self.names.index(name)])

    def interval(self, probability: float = 0.95) -> Array:
        """Coverage interval of each estimate, shape (quantities, 2): Student t (JCGM 100 G.3.2)."""
        factor = stdtrit(self.degrees_of_freedom, (1 + probability) / 2)
        half = factor * self.standard_uncertainties
        return np.stack([self.estimates - half, self.estimates + half], axis=-1)

    def require(self) -> Fit:
        """Return the fit, or raise when it should not be used.

        Raises
        ------
        SampleError
            With the estimates it would have given.
        """
        if self.weakness:
            raise SampleError(
                f"the {self.kind} is not good enough to use: {in_unit(self.weakness)}",
                file=", ".join(source.file for source in self.sources) or None,
                found=self.words(),
                remedy="log more rows or more runs, or give what the log cannot tell",
            )
        return self

    def words(self) -> str:
        """Say the estimates with their standard uncertainties in one line."""
        return "; ".join(
            with_unit(f"{name} = {rounded(value, spread)} ± {rounded_spread(spread)}", unit)
            for name, unit, value, spread in zip(
                self.names, self.units, self.estimates, self.standard_uncertainties, strict=True
            )
        )


def correlation_of(covariance: Array) -> Array:
    """Correlation matrix of a covariance matrix; an estimate without spread is correlated with nothing."""
    spread = np.sqrt(np.diag(covariance))
    scale = np.where(spread > 0, spread, 1.0)
    correlation = np.asarray(covariance / np.outer(scale, scale))
    np.fill_diagonal(correlation, 1.0)
    return correlation


def inseparable_pairs(names: tuple[str, ...], covariance: Array) -> tuple[str, ...]:
    """Say which estimates the log cannot tell apart, with their correlation."""
    correlation = correlation_of(covariance)
    return tuple(
        f"{names[i]} and {names[j]} are not separated by this log: correlation {correlation[i, j]:+.3f}"
        for i in range(len(names))
        for j in range(i + 1, len(names))
        if abs(correlation[i, j]) > INSEPARABLE
    )


def combined_degrees_of_freedom(scatter: Array, total: Array, freedom: float | Array) -> Array:
    """Effective degrees of freedom when only the scatter's share was estimated from few rows.

    Source: Welch-Satterthwaite, JCGM 100 G.4.1, the known quantities having infinitely many.
    """
    share = np.divide(np.diag(scatter), np.diag(total), out=np.ones(len(total)), where=np.diag(total) > 0)
    with np.errstate(divide="ignore"):
        return np.asarray(freedom / share**2)
