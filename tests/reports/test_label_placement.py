"""Numbers beside the points of a chart: none covers a point or another, however many there are."""

from __future__ import annotations

from itertools import combinations

import pytest

from reports.charts_of_measuring import Frame, Measured, Rise, labels_of
from reports.label_placement import Box, joined, place_labels

HOURS = (0.25, 0.5, 0.5, 0.5, 0.5, 0.5, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 3.0, 4.0)
GAINS = (9.0, 8.8, 8.5, 8.4, 6.1, 6.0, 5.9, 3.1, 3.0, 0.1, 0.1, 0.0, 0.0, 0.0)
FRAME = Frame(4.3, -1.5, 25.0)
RISES = [Rise(1, 0.25, 9.0), Rise(2, 0.75, 14.0), Rise(7, 1.75, 19.0), Rise(9, 3.75, 21.0)]


def spots() -> list[Measured]:
    """Return 14 measurements, most of them at the same few hours, several with the same gain."""
    return [
        Measured(number, f"thing {number}", hours, gain, gain - 0.4, gain + 0.4, "stands out")
        for number, (hours, gain) in enumerate(zip(HOURS, GAINS, strict=True), start=1)
    ]


def test_no_label_covers_a_point_an_error_bar_or_another_label() -> None:
    labels = labels_of(spots(), RISES, 4.0, FRAME)
    for one, other in combinations(labels, 2):
        assert not one.box.overlaps(other.box)
        # Nor does a line that leads to a label run through another.
        assert not any(part.overlaps(other.box) for part in one.line)
        assert not any(part.overlaps(one.box) for part in other.line)
    for spot in spots():
        x, y = FRAME.pixel(spot.hours, spot.value)
        _, top = FRAME.pixel(spot.hours, spot.high)
        _, bottom = FRAME.pixel(spot.hours, spot.low)
        for covered in (Box(x - 6, y - 6, x + 6, y + 6), Box(x - 1, top, x + 1, bottom)):
            assert not any(label.box.overlaps(covered) for label in labels)
    area = Box(0, 0, FRAME.width, FRAME.height)
    assert all(area.holds(label.box) for label in labels)


def test_every_measurement_is_numbered_once_and_every_later_step() -> None:
    texts = [label.text for label in labels_of(spots(), RISES, 4.0, FRAME)]
    numbers = []
    for text in texts:
        for part in text.split(", ") if not text.startswith("+") else ():
            first, _, last = part.partition("\N{EN DASH}")
            numbers += list(range(int(first), int(last or first) + 1))
    assert sorted(numbers) == list(range(1, 15))
    assert [text for text in texts if text.startswith("+")] == ["+2", "+7", "+9"]


def test_a_label_far_from_its_point_is_led_to_it() -> None:
    wall = Box(60, 60, 140, 140)
    (label,) = place_labels([(100.0, 100.0)], ["1"], [wall], Box(0, 0, 200, 200))
    assert label.far
    (x, y), (near_x, near_y) = label.leader
    assert (x, y) in {(label.box.left, y), (label.box.right, y), (x, label.box.top), (x, label.box.bottom)}
    assert (near_x - 100) ** 2 + (near_y - 100) ** 2 == pytest.approx(36)


def test_where_there_is_no_room_a_label_stands_on_its_point() -> None:
    full = Box(0, 0, 50, 50)
    (label,) = place_labels([(20.0, 20.0)], ["1"], [full], full)
    assert (label.x, label.y) == (20.0, 20.0)


def test_numbers_that_share_a_place_are_written_as_ranges() -> None:
    assert joined([7, 2, 5, 6, 8]) == "2, 5\N{EN DASH}8"
    assert joined([4, 5]) == "4, 5"
