"""How charts and drawings look: one ink, one accent, shapes and dashes before colours."""

from __future__ import annotations

from typing import Any

FONT = "Inter"
INK = "#1c2126"
QUIET = "#59616b"
# Of bars that carry data: more than 3:1 against white.
BAND = "#868e97"
ACCENT = "#0b5d80"
ACCENT_PALE = "#b9d3df"
ALARM = "#9c2a1e"

# One for each condition drawn together: line colour, dash, fill of its band, shape of its mark.
STROKES: tuple[tuple[str, tuple[int, ...], str, str], ...] = (
    (INK, (), "#8d959e", "circle"),
    (ACCENT, (7, 3), ACCENT_PALE, "diamond"),
    (QUIET, (2, 2), "#e3e6e9", "square"),
    (ALARM, (9, 3, 2, 3), "#ecd6d3", "triangle-up"),
    (INK, (12, 4), "#d9dce0", "cross"),
    (ACCENT, (1, 2), "#d5e4ec", "triangle-down"),
    (QUIET, (6, 2, 1, 2, 1, 2), "#eceef0", "stroke"),
    (ALARM, (4, 4), "#f3e4e2", "wedge"),
)

CONFIG: dict[str, Any] = {
    "font": FONT,
    "background": "white",
    "view": {"stroke": "transparent"},
    "axis": {
        "labelColor": INK,
        "titleColor": INK,
        "labelFontSize": 11,
        "titleFontSize": 11,
        "titleFontWeight": "normal",
        "gridColor": "#e6e9ec",
        "domainColor": QUIET,
        "tickColor": QUIET,
        "labelLimit": 320,
        "titleLimit": 640,
        "titlePadding": 6,
    },
    "text": {"font": FONT, "fontSize": 11, "color": INK},
    "legend": {"labelFontSize": 11, "titleFontSize": 11},
}
