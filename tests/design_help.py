"""A study whose answers are known in closed form: sums of normal inputs, limits that are lines and roots."""

from __future__ import annotations

from pathlib import Path

OWN = '''
from explorer.graph.quantity import given, quantity

first = given("1", "First.")
second = given("1", "Second.")
share = given("1", "Share of the second.", default=1.0)
across = given("1", "First design variable.", default=0.0)
up = given("1", "Second design variable.", default=0.0)
idle = given("1", "Nothing depends on it.", default=0.0)
strength = given("1", "Strength.", default=20.0)


@quantity("1", source="test")
def total(first, second, share):
    """Sum of two inputs."""
    return first + share * second


@quantity("1", source="test")
def reserve_across(first, across, up):
    """What is left of the first input."""
    return first - across - 0.5 * up


@quantity("1", source="test")
def reserve_up(second, across, up):
    """What is left of the second input."""
    return second - 0.3 * across - up


@quantity("1", source="test")
def gain(first, across, up):
    """What is wanted."""
    return 2 * across + 1.5 * up + (first - 3)


@quantity("1", source="test")
def hold(strength, speed):
    """What is left of the strength at a speed."""
    return strength - 0.01 * speed**2


@quantity("m/s", source="test", capped_by="speed_cap")
def shake_speed(strength, speed_cap):
    """A critical speed."""
    return strength + 25
'''

STUDY = """
[study]
title = "Known answers"
seed = 7
samples = {samples}
sensitivity_samples = 64
keep_samples = false
own_quantities = "own.py"

[inputs]
first = {{ mean = 3.0, sd = 0.2, source = "test" }}
second = {{ mean = 2.5, sd = 0.3, source = "test" }}
{inputs}

[conditions.run]
speed = "10 m/s"
{conditions}

[[limits]]
name = "across"
quantity = "reserve_across"
condition = "run"
at_least = 0
probability = 0.95

[[limits]]
name = "up"
quantity = "reserve_up"
condition = "run"
at_least = 0
probability = 0.9
{rest}
"""


def write_known(
    folder: Path, rest: str = "", *, inputs: str = "", conditions: str = "", samples: int = 20_000
) -> Path:
    """Write the study and its quantities into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    text = STUDY.format(samples=samples, inputs=inputs, conditions=conditions, rest=rest)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    (folder / "own.py").write_text(OWN, encoding="utf-8")
    return folder
