"""Slots and binding: distance of plates by brute force, what bow and skew do, and the air's share."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from explorer.model.mechanism.slot import plate_distance
from tests.mechanism_help import DEGREE, FLAPS, MM, ask, one


def _random_plates(seed: int, pairs: int = 60) -> np.ndarray:
    """Return back, up, run, rise, other run, other rise of pairs of plates."""
    return np.random.default_rng(seed).uniform(-1, 1, (6, pairs))


def _crosses(back: float, up: float, run: float, rise: float, other_run: float, other_rise: float) -> bool:
    """Tell whether two segments meet, by solving for the shares along both."""
    shares = np.linalg.solve(np.array([[run, -other_run], [rise, -other_rise]]), np.array([back, up]))
    return bool(np.all((shares >= 0) & (shares <= 1)))


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10_000))
def test_distance_of_plates_by_brute_force(seed: int) -> None:
    plates = _random_plates(seed)
    found = plate_distance(*plates)
    back, up, run, rise, other_run, other_rise = plates
    shares = np.linspace(0, 1, 201)
    first = shares[:, None, None] * (run + 1j * rise)
    other = back + 1j * up + shares[:, None] * (other_run + 1j * other_rise)
    nearest = np.abs(first - other).min(axis=(0, 1))
    crossing = np.array([_crosses(*pair) for pair in plates.T])
    assert np.array_equal(found < 0, crossing)
    assert found[~crossing] == pytest.approx(nearest[~crossing], abs=0.01)
    swapped = plate_distance(-back, -up, other_run, other_rise, run, rise)
    assert swapped == pytest.approx(found)


def test_pushing_one_plate_through_another_goes_through_zero() -> None:
    heights = np.linspace(0.4, -0.4, 81)
    # A plate that stands on end comes down on a level one.
    gap = plate_distance(*np.broadcast_arrays(0.5, heights, 1.0, 0.0, 0.0, 1.0))
    assert gap == pytest.approx(heights, abs=1e-12)


def test_parallel_plates_are_apart_by_their_gap_less_thickness() -> None:
    level = {f"{flap}_angle": 0.0 for flap in FLAPS[:2]}
    place = {
        "lower_flap_pivot_station": 0.43,
        "middle_flap_pivot_station": 0.432,
        "middle_flap_pivot_height": 0.165,
    }
    gap = one("slot_gap", FLAPS[:2], **level, **place, lower_flap_thickness=2 * MM)
    assert float(gap) == pytest.approx(165 * MM - 160.4 * MM - (2 + 3) / 2 * MM)


def test_slots_open_as_the_flaps_do_and_the_tightest_is_at_the_closed_end() -> None:
    gaps = one("slot_gap", flap_opening=np.linspace(0, 1, 41), span_position=0.0)
    assert np.all(np.diff(gaps) > 0)
    assert float(one("smallest_slot_gap")) == pytest.approx(gaps[0])


def test_an_element_set_too_close_binds() -> None:
    assert float(one("smallest_binding_gap", middle_flap_pivot_height=175 * MM)) < 0


def test_warp_and_skew_narrow_the_slot_where_they_are() -> None:
    drawn = float(one("smallest_slot_gap"))
    # The middle flap hangs down in the middle of its span, towards the flap below it.
    warped = ask("smallest_slot_gap", "binding_gap", middle_flap_warp=-1 * MM, flap_opening=0.0)
    assert float(warped["smallest_slot_gap"]) == drawn
    assert drawn - 1.1 * MM < float(warped["binding_gap"]) < drawn - 0.5 * MM
    skewed = {"middle_flap_hole_skew_height": -1 * MM, "flap_opening": 0.0}
    linkage_end, middle, far_end = (
        float(one("slot_gap", span_position=s, **skewed)) for s in (0.0, 0.5, 1.0)
    )
    assert linkage_end == drawn
    assert drawn - far_end == pytest.approx(2 * (drawn - middle), rel=0.2)
    assert float(one("smallest_binding_gap", **skewed)) == far_end


def test_the_air_bends_the_elements_into_their_slots() -> None:
    still, fast = (float(one("smallest_loaded_gap", speed=speed)) for speed in (0.0, 50.0))
    assert still == pytest.approx(float(one("smallest_slot_gap")))
    sag = float(one("lower_flap_mid_span_deflection"))
    assert still - sag < fast < still


def test_bending_under_air_is_bow_the_other_way() -> None:
    bent = {f"{flap}_warp": -one(f"{flap}_mid_span_deflection") for flap in FLAPS}
    assert float(one("loaded_slot_gap")) == pytest.approx(float(one("slot_gap", **bent)), abs=1e-15)


def test_scattered_and_plain_inputs_mix() -> None:
    warp = np.array([0.0, -0.5, 0.7]) * MM
    for changed in ("middle_flap_warp", "middle_flap_hole_skew_height", "middle_flap_thickness"):
        shift = warp + (3 * MM if changed.endswith("thickness") else 0)
        alone = [float(one("smallest_binding_gap", **{changed: value})) for value in shift]
        assert one("smallest_binding_gap", **{changed: shift}) == pytest.approx(alone)
        assert one("smallest_binding_gap", **{changed: shift[:, np.newaxis]})[:, 0] == pytest.approx(alone)
    main = one("smallest_binding_gap", mainplane_incidence=np.array([8, 9]) * DEGREE)
    assert main.shape == (2,)


def test_one_element_has_the_main_plane_for_neighbour() -> None:
    gap = float(one("smallest_slot_gap", FLAPS[:1]))
    assert gap > 0
    lower = float(one("smallest_slot_gap", FLAPS[:1], mainplane_trailing_edge_height=149.5 * MM))
    assert lower > gap


def test_side_gap() -> None:
    assert float(one("upper_flap_side_gap")) == pytest.approx(1 * MM)
    assert float(one("smallest_side_gap", middle_flap_span=250.5 * MM)) == pytest.approx(-0.25 * MM)
