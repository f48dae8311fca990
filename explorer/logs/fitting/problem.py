"""What a fit is given: the unknowns, the logged rows, and the curve that should join them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Known, Labels

Predict: TypeAlias = Callable[[Array, Array], Array]


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
        A typical size; the start's own where it is not zero.
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
        The logged quantity, and what it is plotted against: None for its own predicted value.
    run, channel:
        Number of the run, and of the logged quantity; rows of one run and channel follow each other in time.
    abscissa_name, channel_names, channel_units:
        For axes and messages.
    standard_deviations:
        Known scatter of each channel, or None to take it from the residuals.
    """

    values: Array
    abscissa: Array | None
    run: Labels
    channel: Labels
    abscissa_name: str
    channel_names: tuple[str, ...]
    channel_units: tuple[str, ...]
    standard_deviations: tuple[float, ...] | None = None

    @classmethod
    def single(
        cls,
        values: Array,
        abscissa: Array | None,
        *,
        name: str,
        unit: str,
        abscissa_name: str,
        run: Labels | None = None,
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

    @property
    def channels(self) -> range:
        """Numbers of the logged quantities."""
        return range(len(self.channel_names))


@dataclass(frozen=True)
class Problem:
    """A fit in unknowns of size one, with everything that stays fixed while it is solved.

    ``expected_rows`` and ``expected_values`` are the expectations of parameters, written as further equations
    in units of their standard uncertainty; shapes (expectations, parameters) and (expectations,).
    """

    predict: Predict
    observations: Observations
    parameters: tuple[Parameter, ...]
    known: tuple[Known, ...]
    sizes: Array
    expected_rows: Array
    expected_values: Array

    @classmethod
    def stated(
        cls,
        predict: Predict,
        observations: Observations,
        parameters: Sequence[Parameter],
        known: Sequence[Known],
    ) -> Problem:
        """Put the unknowns to size one and the expectations into equations."""
        sizes = np.array([parameter.size for parameter in parameters])
        expected = [(i, p.expected) for i, p in enumerate(parameters) if p.expected is not None]
        rows = np.zeros((len(expected), len(parameters)))
        values = np.zeros(len(expected))
        for row, (i, (value, spread)) in enumerate(expected):
            rows[row, i] = sizes[i] / spread
            values[row] = value / spread
        return cls(predict, observations, tuple(parameters), tuple(known), sizes, rows, values)

    @property
    def known_values(self) -> Array:
        """Values of the known quantities, shape (known,)."""
        return np.array([known.value for known in self.known])

    @property
    def bounds(self) -> tuple[Array, Array]:
        """Bounds of the unknowns."""
        low = np.array([parameter.low for parameter in self.parameters])
        high = np.array([parameter.high for parameter in self.parameters])
        return low / self.sizes, high / self.sizes

    def residuals(self, unknowns: Array) -> Array:
        """Return logged minus predicted, shape (rows,)."""
        return np.asarray(self.observations.values - self.predict(unknowns * self.sizes, self.known_values))

    def jacobian(self, unknowns: Array) -> Array:
        """Change of the prediction for each unknown, shape (rows, parameters), by central differences."""
        low, high = self.bounds
        columns = []
        for i, unknown in enumerate(unknowns):
            step = 1e-5 * max(1.0, abs(unknown))
            up, down = unknowns.copy(), unknowns.copy()
            up[i], down[i] = min(unknown + step, high[i]), max(unknown - step, low[i])
            change = self.residuals(down) - self.residuals(up)
            columns.append(change / (up[i] - down[i]))
        return np.stack(columns, axis=-1)

    def change_for_known(self, unknowns: Array) -> Array:
        """Change of the prediction for one standard uncertainty of each known quantity, shape (rows, known).

        Source: JCGM 100 5.1.3, note 2 (sensitivity from a change by plus and minus the uncertainty).
        """
        values = unknowns * self.sizes
        columns = np.zeros((len(self.observations.values), len(self.known)))
        for j, known in enumerate(self.known):
            if known.standard_uncertainty == 0:
                continue
            up, down = self.known_values, self.known_values
            up[j] += known.standard_uncertainty
            down[j] -= known.standard_uncertainty
            columns[:, j] = (self.predict(values, up) - self.predict(values, down)) / 2
        return columns
