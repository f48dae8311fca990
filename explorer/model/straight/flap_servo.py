"""The flap's time from closed to open as the servo model has it."""

from __future__ import annotations

from explorer.graph.arrays import Array
from explorer.graph.quantity import quantity


@quantity("s", source="see opening_time", fails="the servo stalls on the way open")
def flap_opening_duration(opening_time: Array) -> Array:
    """Time the flap takes from closed to open: that of the servo against the air at the condition's speed."""
    return opening_time
