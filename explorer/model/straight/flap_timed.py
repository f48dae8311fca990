"""The flap's time from closed to open as the builder timed it."""

from __future__ import annotations

from explorer.graph.quantity import Usual, given

flap_opening_duration = given(
    "s",
    "Time the flap takes from closed to open, once it moves.",
    default=0.0,
    at_least=0,
    usual=Usual("0.05 s", "0.15 s", "0.4 s"),
)
