"""Printed elements of the invented wing."""

from __future__ import annotations

import numpy as np

from tests.mechanism_help import FLAPS, MM, one


def test_printed_elements_warp_and_catch_on_their_neighbour() -> None:
    """Common practice, no source: the slots are clear as drawn, and bind now and then as printed."""
    stream = np.random.Generator(np.random.Philox(7))
    warp = {f"{flap}_warp": stream.normal(0, 0.6 * MM, 20_000) for flap in FLAPS}
    assert np.all(one("smallest_slot_gap", **warp) > 1.5 * MM)
    assert 0.01 < np.mean(one("smallest_binding_gap", **warp) < 0) < 0.1
