"""Levers: a sensible step has the unit of its quantity, and is a small part of what is usual."""

from __future__ import annotations

import importlib
import pkgutil

import pytest

import explorer.model
from explorer.graph.quantity import Quantity, quantities_of
from explorer.graph.units import parse, parse_spread

LEVERS = {
    quantity.name: quantity
    for found in pkgutil.walk_packages(explorer.model.__path__, "explorer.model.")
    for quantity in quantities_of(importlib.import_module(found.name))
    if quantity.lever
}


@pytest.mark.parametrize("quantity", LEVERS.values(), ids=LEVERS)
def test_each_step_is_a_small_part_of_what_is_usual(quantity: Quantity) -> None:
    step, _ = parse_spread(quantity.lever, None, quantity.unit)
    assert step > 0
    if quantity.usual is not None:
        low, high = (
            parse(text, None, quantity.unit)[0] for text in (quantity.usual.low, quantity.usual.high)
        )
        assert step <= (high - low) / 10


def test_what_nobody_can_set_is_no_lever() -> None:
    doubts = {"air_temperature", "gust", "rolling_resistance", "wing_pitch_slope", "body_drag_area"}
    assert not doubts & set(LEVERS)
    assert {"rear_wheel_rate", "rear_spring_rate", "wing_incidence", "wing_area", "cg_station"} <= set(LEVERS)
