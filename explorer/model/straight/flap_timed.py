"""The flap's time from closed to open as the builder timed it."""

from __future__ import annotations

from explorer.graph.quantity import given

flap_opening_duration = given(
    "s",
    "Time the flap takes from closed to open, once it moves.",
    default=0.0,
    at_least=0,
    usual="0.05 to 0.4 s, typically 0.15",
)
