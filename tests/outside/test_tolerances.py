"""The stack-up of build tolerances in a slot against exact distributions of sums."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import ndtr

from tests.mechanism_help import FLAPS, MM, one
from tests.statistics_help import within

SAMPLES = 100_000
NOMINAL = 0.5 * MM


def _two_level_plates(draws: np.ndarray) -> dict[str, Any]:
    """Return two level elements one above the other, where each draw moves the slot by itself."""
    lower, upper, lower_warp, upper_warp, thickness = draws
    level = {f"{flap}_angle": 0.0 for flap in FLAPS[:2]}
    return {
        **level,
        "mainplane_trailing_edge_height": 0.05,
        "lower_flap_pivot_station": 0.43,
        "middle_flap_pivot_station": 0.43,
        "lower_flap_thickness": 3 * MM,
        "middle_flap_thickness": 3 * MM + 2 * thickness,
        "lower_flap_pivot_height": 0.16 - lower,
        "middle_flap_pivot_height": 0.16 + 3 * MM + NOMINAL + upper,
        "lower_flap_warp": -lower_warp,
        "middle_flap_warp": upper_warp,
    }


def test_five_rectangular_tolerances() -> None:
    """Value from memory: Irwin-Hall, recomputed.

    Five of +-0.2 mm add to a deviation of 0.25820 mm, beyond +-0.5 mm with 0.050781.
    """
    draws = np.random.Generator(np.random.Philox(5)).uniform(-0.2 * MM, 0.2 * MM, (5, SAMPLES))
    gap = one("slot_gap", FLAPS[:2], **_two_level_plates(draws))
    sure = 0.050781 * (1 - 0.050781)
    beyond = np.mean(np.abs(gap - NOMINAL) > 0.5 * MM)
    assert within(float(beyond), 0.050781, float(np.sqrt(sure / SAMPLES)))
    # Fourth moment of the sum: kurtosis 3 - 1.2/5.
    assert within(float(np.std(gap)), 0.25820 * MM, 0.25820 * MM * float(np.sqrt((2.76 - 1) / 4 / SAMPLES)))


def test_binding_of_normal_tolerances() -> None:
    """Source: JCGM 101:2008, 9.2.2: normal deviations add to a normal one; the wing binds beyond the gap."""
    draws = np.random.Generator(np.random.Philox(6)).normal(0, 0.15 * MM, (5, SAMPLES))
    gap = one("smallest_binding_gap", FLAPS[:2], **_two_level_plates(draws))
    middle = ndtr(-0.5 / (0.15 * np.sqrt(5)))
    binds = float(np.mean(gap < 0))
    # The ends add little to what the middle does: they see three of the five deviations.
    at_the_ends = ndtr(-0.5 / (0.15 * np.sqrt(3)))
    assert binds > middle - 4 * np.sqrt(middle / SAMPLES)
    assert binds < middle + at_the_ends
