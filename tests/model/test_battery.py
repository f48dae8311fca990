"""Tyres against the maker's figure."""

from __future__ import annotations

from typing import Any

import pytest

from tests.model_help import SPRINT_CAR, evaluate
from tests.outside.test_brakes import ELECTRIC as DRIVE

ELECTRIC = {"drive": "electric"}

CAR: dict[str, Any] = {**SPRINT_CAR, **DRIVE, "no_load_current": 4.0}


def test_tyres_against_the_makers_figure() -> None:
    """Definition: rolling, and spinning free up to the highest revs of the battery."""
    names = ["tyre_speed_margin", "free_tyre_speed_margin", "rev_limited_speed"]
    found = evaluate(names, {**CAR, "speed": 50.0, "tyre_rated_speed": 60.0}, ELECTRIC)
    assert found["tyre_speed_margin"] == pytest.approx(10.0)
    assert found["free_tyre_speed_margin"] == pytest.approx(60.0 - float(found["rev_limited_speed"]))
    assert found["free_tyre_speed_margin"] < 0
