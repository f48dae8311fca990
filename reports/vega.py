"""The way to pictures: a Vega-Lite specification to SVG, and the script that makes it live in a page.

The library runs one engine for the whole process and is not made for several threads, hence the lock.  It
holds the interpreter while it works: what is drawn beside other work needs a process (``pictures.py``).
It is told to fetch nothing.
"""

from __future__ import annotations

import functools
import json
import re
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

FONTS = Path(__file__).parent / "fonts"
LICENCES = Path(__file__).parent / "licences" / "charts.txt"
# Only this name is set on the page; everything else of the library stays inside its own function.
_BUNDLE = "window.squatlineCharts = vegaEmbed;"

# Attributes of an SVG that hold places, and what lies behind a hundredth of a pixel in them.
_PLACES = re.compile(r' (?:d|transform|x|y|x1|x2|y1|y2|width|height)="[^"]*"')
# What a still picture looks the same without: styles that a page's policy refuses, what is said by the figure
# around it, what is drawn unseen, and what holds anyway.
_WORDS = re.compile(r' (?:style|role|aria-[a-z]+|pointer-events)="[^"]*"')
_IDLE = re.compile(
    r'<path class="(?:background|foreground)" d="[^"]*"(?: display="none")?/>'
    r'| class="[^"]*"| (?:stroke-|fill-)?opacity="1"| stroke-width="1"| font-family="Inter"'
    r'| transform="translate\(0,0\)"'
)
_FINE = re.compile(r"(\.\d\d)\d+")

_lock = threading.Lock()


@functools.cache
def _library() -> Any:
    import vl_convert

    vl_convert.register_font_directory(str(FONTS))
    return vl_convert


def svg(chart: Mapping[str, Any], prefix: str) -> str:
    """Draw a chart as SVG.

    Parameters
    ----------
    chart:
        Vega-Lite specification with its data inside.
    prefix:
        Put before every id, so that several drawings can stand in one page.
    """
    return _standing_alone(_drawn(json.dumps(chart)), prefix)


@functools.lru_cache(maxsize=256)
def _drawn(specification: str) -> str:
    with _lock:
        drawn: str = _library().vegalite_to_svg(specification, allowed_base_urls=[])
    return drawn


def _standing_alone(drawn: str, prefix: str) -> str:
    """Rename ids in the order they come, and drop what a still picture has no use for."""
    names = dict.fromkeys(re.findall(r'\bid="([^"]+)"', drawn))
    for position, name in enumerate(names):
        fresh = f"{prefix}-{position}"
        drawn = drawn.replace(f'id="{name}"', f'id="{fresh}"').replace(f"url(#{name})", f"url(#{fresh})")
    drawn = _IDLE.sub("", _WORDS.sub("", drawn)).replace("<svg ", '<svg font-family="Inter" ', 1)
    return _PLACES.sub(lambda found: _FINE.sub(r"\1", found[0]), drawn)


def start() -> None:
    """Start the engine, which takes longer than to draw many a chart."""
    _drawn(json.dumps({"data": {"values": []}, "mark": "point"}))


@functools.cache
def bundle() -> str:
    """Return the chart library as one script that keeps its names to itself."""
    with _lock:
        script: str = _library().javascript_bundle(_BUNDLE)
    return f"(function () {{\n{script}\n}})();"


def notice() -> str:
    """Return the licences of the chart library as a comment of a script."""
    return f"/*!\n{LICENCES.read_text(encoding='utf-8')}*/\n"
