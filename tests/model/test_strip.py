"""The strip where it has no answer."""

from __future__ import annotations

import numpy as np

from tests.model_help import bare_car, evaluate


def test_where_there_is_no_answer_there_is_no_number() -> None:
    """Definition: a car that cannot move off has no top speed, gets nowhere, and says so by NaN."""
    car = {**bare_car(), "speed": 0.0, "grade": 1.0, "shaft_power": 1e-3, "strip_length": 50.0}
    found = evaluate(["strip_speed", "top_speed_room"], car)
    assert np.isnan(found["strip_speed"])
    assert np.isnan(found["top_speed_room"])
