"""Mutants: studies, logs and summaries that were right until something in them was changed.

Every mutant comes from a ``random.Random``, so that hypothesis can drive it and make a failing one smaller.
"""

from __future__ import annotations

import copy
import datetime
import json
import math
import random
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

from hypothesis import HealthCheck, settings

from explorer.errors import SquatlineError

Path = tuple[Any, ...]

FEW = settings(max_examples=40, derandomize=True, suppress_health_check=list(HealthCheck))
MANY = settings(max_examples=2000, derandomize=True, suppress_health_check=list(HealthCheck))


class Raw(str):
    """TOML that no Python value is written as."""


STRANGE: tuple[Any, ...] = (
    0,
    1,
    -1,
    2,
    64,
    10**6,
    2**63 - 1,
    True,
    False,
    0.5,
    -0.5,
    1e-300,
    1e308,
    math.inf,
    -math.inf,
    math.nan,
    "",
    " ",
    "x",
    "5 kg",
    "3 %",
    "0.3 mm",
    "-1 m/s",
    "45 m/s",
    "1e999 mm",
    "1 mm**9**9**9",
    "1 " + "m*" * 60 + "m",
    "speed",
    "closed",
    "normal",
    "../../x",
    "/dev/zero",
    "study.toml",
    ".",
    "a\0b",
    "\u2028\x0b\x1b[31m",
    "é°µ",
    "9" * 5000,
    "n" * 3000,
    [],
    [[]],
    ["x"],
    [1, "x"],
    [[1.0, 2.0], [2.0, 3.0]],
    {},
    {"x": 1},
    {"mean": 1.0, "sd": 0.1},
    {"value": 1},
    {"file": "logs/closed_run.csv"},
    datetime.date(2031, 5, 27),
    datetime.time(7, 32),
    Raw("9" * 5000),
    Raw("1" + "0" * 400),
    Raw("[" * 40 + "]" * 40),
    Raw("[" * 2000 + "]" * 2000),
    Raw("{a=" * 40 + "1" + "}" * 40),
    Raw("0x1F"),
    Raw("1_000"),
)


def places(data: Any, at: Path = ()) -> Iterator[Path]:
    """Where anything stands in nested data."""
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in inner:
        yield (*at, key)
        yield from places(value, (*at, key))


def _held(data: Any, place: Path) -> Any:
    for key in place:
        data = data[key]
    return data


def structural(data: dict[str, Any], rng: random.Random, most: int = 3) -> dict[str, Any]:
    """Nested data with one to three things replaced, taken away, moved, renamed, doubled or wrapped."""
    data = copy.deepcopy(data)
    for _ in range(rng.choice((1, 1, most))):
        every = list(places(data))
        if not every:
            break
        # A number deep down and a whole section are equally worth changing.
        depth = rng.choice(sorted({len(place) for place in every}))
        place = rng.choice([place for place in every if len(place) == depth])
        holder, key = _held(data, place[:-1]), place[-1]
        match rng.randrange(8):
            case 0 | 1 | 2:
                holder[key] = rng.choice(STRANGE)
            case 3:
                del holder[key]
            case 4:
                holder[key] = copy.deepcopy(_held(data, rng.choice(every)))
            case 5 if isinstance(holder, dict):
                name = rng.choice([str(other[-1]) for other in every] + ["", "x y", "ä", "a\0b"])
                holder[name] = holder.pop(key)
            case 5 | 6 if isinstance(holder, list):
                holder.extend(copy.deepcopy(holder) * rng.randint(1, 40))
            case 6:
                holder[key] = rng.choice(([holder[key]], {"value": holder[key]}, {str(key): holder[key]}))
            case _:
                if isinstance(holder[key], int | float) and not isinstance(holder[key], bool):
                    holder[key] = holder[key] * rng.choice((-1, 0, 1e-9, 1e-3, 10, 1e3, 1e9))
                elif isinstance(holder[key], str):
                    holder[key] = textual(holder[key], rng)
                else:
                    holder[key] = rng.choice(STRANGE)
    return data


INSERTED = (
    *"\0\t\n\r\x0b\x0c\x1b\x85\u2028\u00a0\ufeff'\"\\[]{}=,;.#-_:%/*^ ",
    "\r\n",
    '"""',
    "[[",
    "0",
    "9" * 30,
    "1e400",
    "nan",
    "True",
    "é",
    "a.b.c.d",
    "\ud800".encode("utf-8", "surrogatepass").decode("utf-8", "replace"),
)


def textual(text: str, rng: random.Random, most: int = 3) -> str:
    """Text with one to three places cut out, doubled, swapped or written over."""
    for _ in range(rng.choice((1, 1, most))):
        start = rng.randint(0, len(text))
        end = min(len(text), start + rng.choice((0, 1, 2, 5, 20, 200)))
        match rng.randrange(6):
            case 0:
                text = text[:start] + text[end:]
            case 1 | 2:
                text = text[:start] + rng.choice(INSERTED) * rng.choice((1, 1, 1, 2, 300)) + text[start:]
            case 3:
                text = text[:start] + text[start:end] * rng.choice((2, 3, 100)) + text[end:]
            case 4:
                lines = text.split("\n")
                i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
                lines[i], lines[j] = lines[j], lines[i]
                text = "\n".join(lines)
            case _:
                text = text[:start] + rng.choice(INSERTED) + text[end:]
    return text


def as_toml(data: dict[str, Any]) -> str:
    """Write nested data as TOML: one line a key of the top, everything below it inline."""
    return "\n".join(f"{_key(key)} = {_value(value)}" for key, value in data.items()) + "\n"


def _key(key: Any) -> str:
    return _text(str(key))


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    match value:
        case Raw():
            return str(value)
        case str():
            return _text(value)
        case bool():
            return "true" if value else "false"
        case float():
            return repr(value)
        case datetime.date() | datetime.time():
            return value.isoformat()
        case list():
            return f"[{', '.join(map(_value, value))}]"
        case dict():
            return f"{{{', '.join(f'{_key(key)} = {_value(inner)}' for key, inner in value.items())}}}"
        case _:
            return str(value)


def mutant(text: str, parse: Callable[[str], Any], write: Callable[[Any], str], chance: random.Random) -> str:
    """Change what a text means, or the text itself."""
    return write(structural(parse(text), chance)) if chance.random() < 0.6 else textual(text, chance)


def told_or_right(action: Callable[[], object]) -> None:
    """Let an action come to its end or be refused; anything else is a fault of the program."""
    with suppress(SquatlineError):
        action()
