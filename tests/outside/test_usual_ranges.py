"""Usual ranges that name something published lie where it says: the rest is judgement and checked nowhere."""

from __future__ import annotations

import numpy as np
import pytest

from explorer.graph.units import parse
from explorer.model.aero.wing import wing_pitch_slope
from explorer.model.air.air import air_pressure


def test_the_slope_of_a_wing_is_that_of_helmbold() -> None:
    """Helmbold's equation, 2 pi A/(2 + sqrt(A^2 + 4)) (value from memory), at aspect ratios 1, 2 and 6."""
    aspect = np.array([1.0, 2.0, 6.0])
    published = 2 * np.pi * aspect / (2 + np.sqrt(aspect**2 + 4))
    usual = wing_pitch_slope.usual
    found = [parse(text, None, "1/rad")[0] for text in (usual.low, usual.typical, usual.high)]
    assert found == pytest.approx(published, rel=0.02)


def test_the_lowest_air_pressure_is_that_of_a_high_track() -> None:
    """ISO 2533:1975: 701.1 hPa at 3000 m (value from memory); a low takes one or two per cent off."""
    low = parse(air_pressure.__quantity__.usual.low, None, "Pa")[0]
    assert 0.98 * 70110 < low < 0.995 * 70110
