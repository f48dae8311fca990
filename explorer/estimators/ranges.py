"""The range of a design variable, and the values in it that can be had."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

# Steps that miss the end of a range by less than this share of one still reach it.
STEP_SLACK = 1e-6


@dataclass(frozen=True)
class Range:
    """From low to high, in steps counted from the low end, or any value where ``step`` is None."""

    low: float
    high: float
    step: float | None = None

    @property
    def width(self) -> float:
        """Distance between the ends."""
        return self.high - self.low

    @property
    def step_count(self) -> int:
        """Number of steps that fit; 0 where any value can be had."""
        return 0 if self.step is None else math.floor(self.width / self.step + STEP_SLACK)

    def even(self, points: int) -> tuple[float, ...]:
        """Return evenly spaced values, ends included, whether they can be had or not."""
        return tuple(float(value) for value in np.linspace(self.low, self.high, points))

    def stepped(self) -> tuple[float, ...]:
        """Return the values that can be had, step by step; the two ends where any can."""
        if self.step is None:
            return (self.low, self.high)
        return tuple(self.low + self.step * count for count in range(self.step_count + 1))

    def near(self, value: float) -> tuple[float, ...]:
        """Return the values that can be had next to one: below and above, or itself where any can."""
        if self.step is None:
            return (min(max(value, self.low), self.high),)
        count = (value - self.low) / self.step
        places = {math.floor(count + STEP_SLACK), math.ceil(count - STEP_SLACK)}
        return tuple(self.low + self.step * min(max(place, 0), self.step_count) for place in sorted(places))

    def nearest(self, value: float) -> float:
        """Return the value that can be had nearest to one."""
        return min(self.near(value), key=lambda near: abs(near - value))

    def moved(self, value: float, steps: int) -> float | None:
        """Return the value some steps on, or None beyond the range or without steps."""
        if self.step is None:
            return None
        # Counted from the low end, so that the same value is the same number however it was reached.
        count = round((value - self.low) / self.step) + steps
        return self.low + self.step * count if 0 <= count <= self.step_count else None
