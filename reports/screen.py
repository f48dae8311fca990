"""The screen that words are printed on: names and texts as they stand, whatever is in them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment

from explorer.files.characters import visible


class Screen(Console):
    """A console without markup, where a character that a terminal would obey is spelled out."""

    def __init__(self, **options: Any) -> None:
        super().__init__(markup=False, emoji=False, highlight=False, **options)

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Render as ever; what the console itself tells the terminal goes through."""
        for segment in super().render(renderable, options):
            yield segment if segment.control else segment._replace(text=visible(segment.text))
