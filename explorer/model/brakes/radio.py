"""The radio: how long a command takes, and how long the receiver waits when none comes any more."""

from __future__ import annotations

from explorer.graph.quantity import given

radio_delay = given(
    "s",
    "Time from the thumb to the car: a frame of the radio and what both ends need to handle it.",
    default=0.0,
    at_least=0,
    usual="0 to 0.1 s, typically 0.02",
)
fail_safe_hold = given(
    "s",
    """Time the receiver holds the last command when the signal is gone, before its fail-safe acts.

    All that while the car does what it was told last.
    """,
    default=0.0,
    at_least=0,
    usual="0 to 2 s, typically 0.3",
    lever="0.1 s",
)
