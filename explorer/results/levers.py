"""What changing the car would do: levers, signed effects of inputs, settings at which a limit passes."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from explorer.estimators.effects import Change
from explorer.results.exploration import OtherLimit, VariableRecord


@dataclass(frozen=True)
class Rescue:
    """The setting of one lever at which a limit passes, nothing else changed.

    Attributes
    ----------
    value:
        Nearest to the present one, in SI.
    probability, low, high:
        Share of cars that meet the limit there, with its interval.
    others:
        How the other limits stand there.
    breaks:
        Names of the limits that reach their probability now, and no longer there.
    """

    value: float
    probability: float
    low: float
    high: float
    others: tuple[OtherLimit, ...]
    breaks: tuple[str, ...]


@dataclass(frozen=True)
class LeverEffect:
    """What one lever does to one limit.

    Attributes
    ----------
    change:
        Of the margin, in the SI unit of the limit, for one step up of the lever.
    tried:
        Whether a setting was looked for at which the limit passes; only for limits that do not pass.
    rescue:
        The setting that was found, None where the whole range holds none.
    """

    limit: str
    change: Change
    tried: bool = False
    rescue: Rescue | None = None


@dataclass(frozen=True)
class LeverRecord:
    """An input that a builder can set, the step it was moved by, and what that does."""

    variable: VariableRecord
    step: float
    effects: tuple[LeverEffect, ...]


@dataclass(frozen=True)
class SignedEffect:
    """How much more margin the fifth of the cars with the highest values of an input has than the lowest."""

    key: str
    limit: str
    change: Change


@dataclass(frozen=True)
class Levers:
    """Levers, and the signed effects of uncertain inputs, with the number of cars behind each.

    ``cars`` is the least behind a setting, ``moved`` behind a step, ``seen`` behind a signed effect.
    """

    levers: tuple[LeverRecord, ...]
    cars: int
    moved: int
    effects: tuple[SignedEffect, ...]
    seen: int

    def rescues(self, limit: str, safety: Collection[str] = ()) -> list[tuple[LeverRecord, Rescue]]:
        """Return what would make a limit pass, the best first.

        What breaks a limit of ``safety`` comes last; before it what breaks nothing, then the fewest steps.
        """
        found = [
            (lever, effect.rescue)
            for lever in self.levers
            for effect in lever.effects
            if effect.limit == limit and effect.rescue is not None
        ]
        return sorted(
            found, key=lambda one: (bool(set(one[1].breaks) & set(safety)), len(one[1].breaks), _steps(*one))
        )


def _steps(lever: LeverRecord, rescue: Rescue) -> float:
    """How many sensible steps a lever has to go."""
    now = lever.variable.low if lever.variable.now is None else lever.variable.now
    return abs(rescue.value - now) / lever.step
