"""Numbers that cannot be read though it can be told what was meant: what to write instead."""

from __future__ import annotations

import re

_FRACTION = re.compile(r"([+-]?)(?:(\d+)[\s-]+)?(\d+)\s*/\s*0*([1-9]\d*)\s*(\D.*)?")
# What stands behind the first number of a range: its unit or none, a dash or a word, the second number.
_TO = re.compile(
    r"(?:\s*(?:-|–|—|\.\.+)\s*|\s*([^\d\s–—-][^\d–—]*?)?(?:\s+-\s+|\s*[–—]\s*|\s+(?:to|bis)\s+))"  # noqa: RUF001
    r"(\d+(?:[.,]\d+)?)\s*(\D*)"
)
_ABOUT = re.compile(r"(?:~|≈|about|approx\.?|circa|ca\.?|roughly)\s*([+-]?\d.*)", re.IGNORECASE)


def slip_in(text: str, end: int | None, example: str) -> tuple[str, str] | None:
    """Return what is wrong with the text of a value, and the remedy; None where nothing is.

    Parameters
    ----------
    text, end:
        The text, and where the number that it begins with ends; None where it begins with none.
    example:
        How such a value is written.
    """
    if end is None:
        about = _ABOUT.fullmatch(text)
        return "there is no number in this text", (
            f'write "{about[1]}", and how well it is known behind ±'
            if about
            else f'write a number, such as "{example}"; low and high where it is not well known'
        )
    number, rest = text[:end], text[end:]
    if fraction := _FRACTION.fullmatch(text):
        sign, whole, over, below, unit = fraction.groups()
        decimal = f"{sign}{float(whole or 0) + int(over) / int(below):.6g}"
        written = f'it as "{decimal} {unit}"' if unit else f"it as {decimal}"
        return "a fraction stands where a decimal number should", f"write {written}"
    if to := _TO.fullmatch(rest):
        unit = to[3].strip() or (to[1] or "").strip()
        low, high = (f"{one.replace(',', '.')} {unit}".strip() for one in (number, to[2]))
        return "two numbers stand where one should", f'write {{ low = "{low}", high = "{high}" }}'
    if re.match(r"[,.\d']|\s\d{3}(?![\d/])", rest):
        return (
            "the number cannot be read",
            f"write a decimal point, and no separators between thousands: {_plainly(text)}",
        )
    if ratio := re.fullmatch(r"\s*:\s*1(?:\.0*)?", rest):
        return "a ratio is one number", f"leave out {ratio.group().strip()!r}: write {number}"
    if re.match(r"\s*(?:±|\+/?-)", rest):
        return "a value without a spread stands here", "leave out ± and what follows it, but for the unit"
    return None


def _plainly(text: str) -> str:
    """Offer what was meant by a number with a decimal comma, or with separators between thousands."""
    written = re.match(r"[+-]?[\d,.'\s]*\d", text)
    assert written is not None
    number, unit = written.group(), text[written.end() :]
    parts = re.fullmatch(r"([+-]?\d{1,3}(?:([,.' ])\d{3})(?:\2\d{3})*|[+-]?\d+)(?:([,.])(\d+))?", number)
    if not parts or parts[2] == parts[3] is not None:
        return "one number"
    whole = re.sub(r"[,.' ]", "", parts[1]) + (f".{parts[4]}" if parts[4] else "")
    if parts[2] in (",", ".") and not parts[3] and number.count(parts[2]) == 1:
        return f'"{number.replace(parts[2], ".")}{unit}" or "{whole}{unit}"'
    return f'"{whole}{unit}"'
