"""The small grammar of units: names joined by products and strokes, each with a power of one digit.

It stands in front of the unit library, whose own grammar takes any expression and computes it, however long
that takes (mm**9**9**9).
"""

from __future__ import annotations

import re

WORDS = "names joined by * and /, each with a power of one digit, such as kg*m**2/s"

# No unit is longer; a text that is was not meant as one.
_LONGEST = 80
# What builders write and the library would read otherwise (Nm is a textile unit there, PS a petasiemens).
_SPELLINGS = {
    "Nm": (("N", 1), ("m", 1)),
    "Nmm": (("N", 1), ("mm", 1)),
    "Ns": (("N", 1), ("s", 1)),
    "KV": (("V", -1), ("rpm", 1)),
    "Kv": (("V", -1), ("rpm", 1)),
    "kv": (("V", -1), ("rpm", 1)),
    "kmh": (("h", -1), ("km", 1)),
    "RPM": (("rpm", 1),),
    "PS": (("metric_horsepower", 1),),
    "amps": (("A", 1),),
    "ohms": (("ohm", 1),),
    "mOhm": (("mohm", 1),),
    "Ohm": (("ohm", 1),),
    "%": (("percent", 1),),
    "‰": (("permille", 1),),
}
_DIGITS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")
_FACTOR = re.compile(
    r"\s*(?P<join>[*/]?)\s*(?:1(?!\w)|(?P<name>°?[^\W\d_]\w*|[%‰°])(?:\s*\*\*\s*(?P<power>-?[1-9])(?!\w))?)\s*"
)


def with_stars(text: str) -> str:
    """Bring the ways to write powers and products together: m2, m², m^2, sq m to m**2, oz-in to oz*in."""
    plain = re.sub(r"[·⋅]|(?<=[A-Za-z])-(?=[A-Za-z])", "*", text.strip()).replace("^", "**")
    plain = re.sub(r"\bsq(?:uare)?\.?\s+([A-Za-z]+)", r"\1**2", plain)
    plain = re.sub(r"\bdeg(?:rees?)?\s+(?=[CF]\b)", "deg", plain)
    plain = re.sub(r"[⁰¹²³⁴⁵⁶⁷⁸⁹⁻]+", lambda power: "**" + power.group().translate(_DIGITS), plain)
    return re.sub(r"(?<=[A-Za-zµμ])([2-4])(?![0-9A-Za-z])", r"**\1", plain)


def factors(text: str) -> tuple[tuple[str, int], ...] | None:
    """Return the names in a unit with their powers, or None where it is none.

    In a word that stands for several, a power belongs to the last of them (Nm2 is N*m**2) and a stroke before
    it divides by all.
    """
    if not 0 < len(text) <= _LONGEST:
        return None
    plain, place, found = with_stars(text), 0, list[tuple[str, int]]()
    while place < len(plain):
        match = _FACTOR.match(plain, place)
        if match is None or (place == 0 and match["join"] == "*"):
            return None
        place = match.end()
        *others, (last, own) = _SPELLINGS.get(match["name"] or "", ((match["name"] or "", 1),))
        parts = (*others, (last, own * int(match["power"] or 1)))
        sign = -1 if match["join"] == "/" else 1
        found += [(name, sign * power) for name, power in parts if name]
    return tuple(found)
