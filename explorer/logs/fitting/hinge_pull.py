"""Hinge moment and pivot friction of a wing element, from pulling at an arm with a spring balance."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.derived import Derived, derived
from explorer.logs.fitting.fit import Fit, Known
from explorer.logs.fitting.readings import fit_readings

SQUARE = Known("pull_angle", math.pi / 2, math.radians(3), "rad", "judgement: a right angle by eye")


def fit_hinge_pull(
    opening_pull: Array,
    closing_pull: Array,
    *,
    arm: Known,
    element: str = "flap",
    pull_angle: Known = SQUARE,
    sources: Sequence[Source] = (),
) -> Fit:
    """Find the closing moment and the friction of an element at one angle.

    Source: statics; friction opposes the motion, so it adds to the pull one way and helps the other way.

    Parameters
    ----------
    opening_pull:
        Readings of the balance while it slowly opens the element against its moment [N].
    closing_pull:
        Readings while the element slowly closes and the balance gives way [N].
    arm:
        Distance from pivot to balance [m].
    element:
        Name of the element.
    pull_angle:
        Angle between arm and pull [rad].

    Returns
    -------
    Fit
        ``<element>_closing_moment`` (positive towards closed) and ``<element>_pivot_friction_torque`` [N m].
    """
    pulls = fit_readings(
        {"opening_pull": opening_pull, "closing_pull": closing_pull},
        {"opening_pull": "N", "closing_pull": "N"},
        sources=sources,
    )

    def moment(of: Mapping[str, float], sign: float) -> float:
        lever = of[arm.name] * math.sin(of[pull_angle.name])
        return lever * (of["opening_pull"] + sign * of["closing_pull"]) / 2

    return derived(
        pulls,
        {
            f"{element}_closing_moment": Derived("N m", lambda of: moment(of, 1.0)),
            f"{element}_pivot_friction_torque": Derived("N m", lambda of: moment(of, -1.0)),
        },
        (arm, pull_angle),
        kind="pull at an arm",
    )
