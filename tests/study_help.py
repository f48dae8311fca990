"""What several tests share: where the studies lie, a small one, and what a command answers."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from explorer.estimators.conformance import Conformance, judge_margins
from explorer.results.stored import DIGEST, SUMMARY_FILE
from explorer.study.limits import Limit

ROOT = Path(__file__).resolve().parents[1]
#: The first demo; and a study of the tests' own, quick to compute, whose numbers they state.
AIRFIELD = ROOT / "studies" / "airfield-sprint"
CHASE = ROOT / "studies" / "three-flap-chase"
DEMO = ROOT / "tests" / "sprint"

SMALL = """
[study]
title = "Small"
samples = 4000
sensitivity_samples = 64

[inputs]
mass = {{ mean = 5.0, sd = 0.1, unit = "kg", source = "test" }}
wheelbase = "360 mm"
cg_station = {{ mean = 190, sd = 5, unit = "mm", source = "test" }}
{inputs}

[conditions.rest]
speed = "0 m/s"
{conditions}

[[limits]]
name = "front load"
quantity = "front_static_load"
condition = "rest"
at_least = "23 N"
probability = 0.5
{limits}
"""


#: A limit on the weight of the small study, exactly normal.
HEAVY = """
[[limits]]
name = "not too heavy"
quantity = "weight"
condition = "rest"
at_most = "{bound} N"
safety = true
"""


@dataclass(frozen=True)
class Answer:
    """What a command printed and how it ended."""

    status: int
    out: str
    err: str


def summary_without_time(folder: Path) -> dict[str, Any]:
    """Read the summary of a run without its minute, the runs before it, and the digest, which covers both."""
    summary: dict[str, Any] = json.loads((folder / SUMMARY_FILE).read_text(encoding="utf-8"))
    summary["reproduction"]["created"] = ""
    del summary["history"], summary[DIGEST]
    return summary


def uncounted(limits: Sequence[Limit]) -> dict[Limit, Conformance]:
    """Pair limits with what one car says of them, which is next to nothing."""
    return {limit: judge_margins(np.ones(1), limit.probability) for limit in limits}
