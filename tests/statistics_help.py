"""The one place that says how far a random estimate may lie from the truth."""

from __future__ import annotations


def within(estimate: float, truth: float, standard_error: float, z: float = 4.0) -> bool:
    """Tell whether an estimate is within z standard errors of the truth.

    At z = 4 a right estimator fails about once in 16 000 seeds; the seeds of the tests are fixed.
    """
    assert standard_error > 0, "a check without a spread cannot fail for the right reason"
    return abs(estimate - truth) <= z * standard_error
