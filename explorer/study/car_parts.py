"""Which part of the car an input belongs to, by its name."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CarPart:
    """A part of the car: its name in addresses and on the page, and words its inputs begin with or hold."""

    name: str
    words: str
    begins: tuple[str, ...] = ()
    holds: tuple[str, ...] = ()


# The first that fits takes an input; the last takes the rest.
PARTS = (
    CarPart(
        "air", "Air and day", ("air_", "relative_", "altitude", "headwind", "gust", "side_wind", "wake_")
    ),
    CarPart(
        "battery",
        "Battery and motor",
        (
            "battery",
            "motor",
            "wind",
            "wiring",
            "no_load",
            "current",
            "shaft",
            "drive_",
            "gear",
            "regeneration",
        ),
        ("heat", "esc_"),
    ),
    CarPart(
        "servo",
        "Servo and flaps",
        ("servo", "flap", "radio", "fail_safe", "end_plate_spacing"),
        ("flap_", "linkage", "rod_", "horn"),
    ),
    CarPart("wing", "Wing", ("wing", "mainplane", "end_plate")),
    CarPart("splitter", "Splitter", ("splitter",)),
    CarPart("floor", "Floor", ("floor", "rear_floor")),
    CarPart("wheels", "Wheels and tyres", ("tyre", "rolling"), ("tyre", "brake", "friction")),
    CarPart(
        "springs",
        "Springs",
        (),
        (
            "spring",
            "wheel_rate",
            "travel",
            "damping",
            "motion_ratio",
            "stop_rate",
            "unsprung",
            "clearance_at_rest",
        ),
    ),
    CarPart("body", "Car and track"),
)
_BY_NAME = {part.name: part for part in PARTS}


def part_of(quantity: str) -> str:
    """Name the part that an input belongs to."""
    for part in PARTS[:-1]:
        if quantity.startswith(part.begins) or any(word in quantity for word in part.holds):
            return part.name
    return PARTS[-1].name


def part(name: str) -> CarPart | None:
    """Return a part by its name."""
    return _BY_NAME.get(name)
