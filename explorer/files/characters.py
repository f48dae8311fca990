"""Characters that a screen or a chart obeys instead of showing: refused in files, else spelled out."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from explorer.errors import SquatlineError

# All but tab and line feed of the controls of ISO/IEC 6429, line and paragraph separators, marks that turn
# the direction of writing (Unicode UAX 9), halves of pairs, and the two that no text may hold.
_OBEYED = re.compile(r"[^\t\n -~\xa0-\u2027\u202f-\u2065\u206a-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def visible(text: str) -> str:
    r"""Spell out every character that would be obeyed: an escape character as ``\x1b``."""
    return _OBEYED.sub(lambda found: found[0].encode("unicode_escape").decode(), text)


def visible_data(data: Any) -> Any:
    """Return nested data with every text in it made visible."""
    if isinstance(data, str):
        return visible(data)
    if isinstance(data, Mapping):
        return {visible_data(key): visible_data(value) for key, value in data.items()}
    if isinstance(data, (list, tuple)):
        return [visible_data(value) for value in data]
    return data


def require_visible(data: Any, refusal: type[SquatlineError]) -> None:
    """Raise a refusal that names the first text of nested data which cannot be shown as it is."""
    for key, text in _texts(data):
        if _OBEYED.search(text):
            raise refusal(
                "a text holds a character that cannot be shown",
                key=visible(key),
                found=visible(text[:200]),
                allowed="letters, digits, signs, spaces and line feeds",
                remedy="write / in place of \\ in a path; elsewhere delete what stands in its place, "
                "which may have come along with a copy",
            )


def _texts(data: Any) -> Iterator[tuple[str, str]]:
    """List every text of nested data, names included, with where it stands."""
    waiting = [("", data)]
    while waiting:
        key, value = waiting.pop()
        if isinstance(value, str):
            yield key, value
        elif isinstance(value, Mapping):
            named = [(f"{key}.{name}" if key else str(name), name, one) for name, one in value.items()]
            yield from ((place, str(name)) for place, name, _ in named)
            waiting += [(place, one) for place, _, one in reversed(named)]
        elif isinstance(value, (list, tuple)):
            waiting += reversed([(f"{key}[{number}]", one) for number, one in enumerate(value, 1)])
