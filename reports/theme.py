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

# What a dark page draws in place of each colour: the same order of light and dark, turned round.
DARK: dict[str, str] = {
    "white": "#14181c",
    "#ffffff": "#14181c",
    "#000": "#e6e9ec",
    INK: "#e6e9ec",
    QUIET: "#a9b2bb",
    BAND: "#69727b",
    ACCENT: "#7cc4e4",
    ACCENT_PALE: "#2b5a70",
    ALARM: "#e8806f",
    "#8d959e": "#6c757e",
    "#3d454d": "#c9ced4",
    "#6f7881": "#98a1aa",
    "#a3abb2": "#69727b",
    "#d0d5da": "#3d454d",
    "#d3d8dd": "#3a424a",
    "#d5e4ec": "#234454",
    "#d9dce0": "#353d45",
    "#e3e6e9": "#2f373f",
    "#e6e9ec": "#2a3138",
    "#eceef0": "#272e35",
    "#ecd6d3": "#5a2f29",
    "#f1f3f5": "#1f252b",
    "#f3e4e2": "#4a2a25",
    "#f5f6f8": "#1f252b",
}


def dark_pictures() -> str:
    """Return the style that draws pictures in the colours of a dark page, on screens that ask for one."""
    # A live chart brings a ground of its own, in its element.
    ground = "  .picture svg { background: none !important; }\n"
    rules = ground + "\n".join(
        f'  .picture [{what}="{light}"] {{ {what}: {dark}; }}'
        for light, dark in DARK.items()
        for what in ("fill", "stroke")
    )
    return f"@media screen and (prefers-color-scheme: dark) {{\n{rules}\n}}"


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
        "labelSeparation": 4,
        # A number stands at its tick, the first and the last too.
        "labelFlush": False,
    },
    "text": {"font": FONT, "fontSize": 11, "color": INK},
    "legend": {"labelFontSize": 11, "titleFontSize": 11},
}
