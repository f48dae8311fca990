"""Text for terminals and pipes that have no signs for some of it: written in the signs they have."""

from __future__ import annotations

import codecs
import sys
import unicodedata
from io import TextIOWrapper

# A lost minus would turn a number round, so signs are put into letters rather than left out.
_LETTERS = {
    "±": "+/-",
    "−": "-",  # noqa: RUF001
    "⁻": "-",
    "–": "-",  # noqa: RUF001
    "—": "-",
    "·": "*",
    "⋅": "*",
    "×": "x",  # noqa: RUF001
    "°": "deg",
    "‰": "per mille",
    "Ω": "ohm",
    "µ": "u",
    "μ": "u",
    "✓": "+",
    "✗": "x",
    "“": '"',
    "”": '"',
    "→": "->",
    "←": "<-",
    "≤": "<=",
    "≥": ">=",
}


def write_plainly() -> None:
    """Have standard output and error write what their encoding has no sign for in letters that it has."""
    codecs.register_error("squatline.plain", _plainly)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="squatline.plain")


def _plainly(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeEncodeError)
    return "".join(map(_letters, error.object[error.start : error.end])), error.end


def _letters(sign: str) -> str:
    plain = unicodedata.normalize("NFKD", sign)
    return _LETTERS.get(sign) or _LETTERS.get(plain) or plain.encode("ascii", "ignore").decode() or "?"
