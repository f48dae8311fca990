"""The chart that the terminal draws with signs."""

from __future__ import annotations

from reports.text_chart import HIGH, WIDE, hours_chart


def place(lines: list[str], sign: str) -> tuple[int, int]:
    """Return line and column of a sign inside the area."""
    ((line, column),) = [(i, text[8:].index(sign)) for i, text in enumerate(lines[:-1]) if sign in text[8:]]
    return line, column


def test_points_stand_at_their_hours_and_gains() -> None:
    lines = hours_chart([("1", 2.0, 8.0), ("2", 1.0, 4.0)], [(2.0, 8.0)], most_hours=4)
    assert place(lines, "1") == (0, WIDE // 2)
    assert place(lines, "2") == (HIGH // 2, WIDE // 4)
    # The line lies on the ground until the first measurement is done, then at what it brings.
    assert lines[HIGH][8:].startswith("-" * (WIDE // 2 - 1))
    assert lines[0][8:].endswith("-+")
    assert lines[-1].endswith("4 hours")


def test_points_in_one_place_stand_side_by_side() -> None:
    lines = hours_chart([("1", 0.5, 1.0), ("2", 0.5, 1.0), ("13", 0.5, 1.0)], [], most_hours=1)
    assert "1 2 13" in lines[0]


def test_a_point_beyond_the_hours_to_spend_is_still_on_the_chart() -> None:
    lines = hours_chart([("1", 6.0, 1.0)], [], most_hours=4)
    assert place(lines, "1") == (0, WIDE)
    assert lines[-1].endswith("6 hours")
