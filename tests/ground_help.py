"""A splitter near the ground written down another way, and a map of a car that has one."""

from __future__ import annotations

from typing import Any

import numpy as np

from explorer.graph.tables import LookupTable
from tests.model_help import SPRINT_CAR, evaluate

BASE = 0.325
AREAS = (
    "front_downforce_area",
    "rear_downforce_area",
    "front_downforce_area_loss",
    "rear_downforce_area_loss",
    "splitter_downforce_area",
    "splitter_downforce_area_loss",
    "dynamic_pressure",
    "front_axle_rate",
    "rear_axle_rate",
)
HEIGHTS = {"front_ride_height_at_rest": 0.012, "rear_ride_height_at_rest": 0.025}


def gain(gap: Any, car: dict[str, Any]) -> Any:
    """Downforce over that at a gap of 10 mm: power law down to the stall, then straight to none."""
    stall, power = car["splitter_critical_gap"], car["splitter_ground_gain"]
    return np.where(
        gap >= stall,
        (0.01 / np.maximum(gap, stall)) ** power,
        (0.01 / stall) ** power * np.maximum(gap, 0) / stall,
    )


def gapped_map(opening: float) -> LookupTable:
    """Areas of the sprint car on a grid of ride heights, the splitter's gap effect included."""
    car = {**SPRINT_CAR, "flap_opening": opening, "speed": 1.0}
    of = evaluate([*AREAS, "drag_area"], car)
    law = {"splitter_critical_gap": 0.0025, "splitter_ground_gain": 0.8}
    front, rear = np.linspace(0.0005, 0.030, 45), np.linspace(0.0, 0.045, 10)
    lean = (front[:, None] - 0.012 - (rear[None, :] - 0.025)) / BASE
    pitch = SPRINT_CAR["static_pitch"] + lean
    gap = 0.009 - (0.012 - front[:, None]) - lean * SPRINT_CAR["splitter_station"]
    more = (gain(gap, law) - 1) * (of["splitter_downforce_area"] - of["splitter_downforce_area_loss"] * pitch)
    place = SPRINT_CAR["splitter_station"] / BASE
    return LookupTable(
        "made.csv",
        {"front_ride_height": front, "rear_ride_height": rear},
        {
            "front_downforce_area": of["front_downforce_area"]
            - of["front_downforce_area_loss"] * pitch
            + more * (1 - place),
            "rear_downforce_area": of["rear_downforce_area"]
            - of["rear_downforce_area_loss"] * pitch
            + more * place,
            "drag_area": np.full_like(pitch, of["drag_area"]),
        },
    )
