"""The line of each key, and all mistakes of a study at once with their lines."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from study_help import AIRFIELD, CHASE

from explorer.study.places import line_of, lines_of_keys
from explorer.study.template import CarHas, template

ODD = """
title = "a = [1, { b = 2 }] # no comment"  # [not.a.table]
long = '''
[no.table]
x = "1"
'''
"quoted name".inner = 1
list = [
  1, # one
  { a = 1.5, b = [2, 3] },
  '''x
  ]''', "\\"]",
]
[[many]]
[[many.inner]]
x = 2020-01-01T10:00:00
[many.table]
y = +1e-3
[[many]]
z = {}
[many.table]
y.deep = ""
[last . one]
end = []"""


def _keys(value: Any, key: str = "") -> Iterator[str]:
    inner = (
        [(f"{key}.{name}" if key else name, one) for name, one in value.items()]
        if isinstance(value, dict)
        else [(f"{key}[{place}]", one) for place, one in enumerate(value, 1)]
        if isinstance(value, list)
        else []
    )
    for name, one in inner:
        yield name
        yield from _keys(one, name)


@pytest.mark.parametrize(
    "text",
    [
        ODD,
        *(pytest.param((one / "study.toml").read_text("utf-8"), id=one.name) for one in (AIRFIELD, CHASE)),
        template(CarHas(flaps=2, drive="electric", brakes="fitted")),
    ],
)
def test_every_key_has_the_line_it_stands_in(text: str) -> None:
    data, lines = tomllib.loads(text), lines_of_keys(text)
    keys = list(_keys(data))
    assert set(keys) == set(lines)
    rows = text.split("\n")
    for key in keys:
        name = key.rpartition(".")[2]
        if "[" not in name:
            assert name in rows[lines[key] - 1], key


def test_lines_of_what_is_hard_to_read() -> None:
    lines = lines_of_keys(ODD)
    shown = {key: line_of(ODD, line) for key, line in lines.items()}
    assert shown["list[2].b[2]"] == "{ a = 1.5, b = [2, 3] },"
    assert shown["list[4]"] == "]''', \"\\\"]\","
    assert shown["many[1].table.y"] == "y = +1e-3"
    assert shown["many[2].table.y.deep"] == 'y.deep = ""'
    assert shown["last.one.end"] == "end = []"
