"""Findings beyond the run, made up for the tests of the report: every number here is invented."""

from __future__ import annotations

import math
from dataclasses import asdict, replace
from typing import Any

from explorer.estimators.measuring import Expected, Outcome, Worth
from explorer.estimators.measuring_plan import Alone, MeasuringPlan, Outlook, Step
from explorer.results.records import Results
from tests.report_fixture import make_results


def with_analyses(results: Results | None = None) -> Results:
    """Return the made-up run with every later analysis in its summary."""
    results = results or make_results()
    extra = {
        "candidates": candidates(results),
        "design": design(results),
        "highest_speed": highest_speed(),
        "validation": validation(),
    }
    return replace(results, summary=replace(results.summary, measuring=measuring(), extra=extra))


def with_findings(**findings: Any) -> Results:
    """Return the made-up run with some findings in its summary."""
    results = make_results()
    return replace(results, summary=replace(results.summary, **findings))


def expected(value: float, error: float = 0.001) -> dict[str, float]:
    """Return an expectation with its standard error."""
    return {"value": value, "error": error}


def outcome(passes: float) -> Outcome:
    """Return where a limit stands."""
    return Outcome(
        variance=Expected(1.0, 0.001),
        passes=Expected(passes, 0.001),
        consumer_risk=Expected(0.01, 0.001),
        producer_risk=Expected(0.02, 0.001),
        loss=Expected(0.2, 0.001),
    )


LIMIT = "Front wheels carry load"
MEASURED: list[tuple[str, str, float, float, tuple[str, ...]]] = [
    ("splitter_rig", "splitter's downforce", 2.0, 0.08, ("spring_test",)),
    ("spring_test", "rear spring rate", 0.5, 0.078, ("splitter_rig",)),
    ("scales", "mass", 0.5, 0.02, ()),
    ("paint_scale", "weight of the paint", 0.5, 0.0005, ()),
]


def measuring() -> MeasuringPlan:
    """Return a plan of four measurements: two tied, one that brings less, one that tells nothing."""

    def worth(name: str, avoided: float) -> Worth:
        return Worth(
            measurement=name,
            limit=LIMIT,
            hours=2.0,
            before=outcome(0.0),
            after=outcome(0.20 + avoided),
            variance_removed=Expected(0.5, 0.001),
            loss_saved=Expected(avoided, 0.001),
            turns=Expected(0.1, 0.001),
            rank=1,
            tied_with=(),
        )

    first = Step(
        measurement="splitter_rig",
        label="splitter's downforce",
        hours=2.0,
        cost=0.0,
        hours_so_far=2.0,
        cost_so_far=0.0,
        limits={LIMIT: (outcome(0.0), outcome(0.28))},
        gain=Expected(0.08, 0.001),
        tied_with=("spring_test",),
    )
    return MeasuringPlan(
        budget_hours=4.0,
        budget_cost=math.inf,
        hours=2.0,
        cost=0.0,
        steps=(first,),
        gain=Expected(0.08, 0.001),
        worths=tuple(worth(name, gain) for name, _, _, gain, _ in MEASURED),
        alone=tuple(
            Alone(name, label, hours, 0.0, Expected(gain, 0.001), tied)
            for name, label, hours, gain, tied in MEASURED
        ),
        outlooks=(
            Outlook(
                limit=LIMIT,
                required=0.9,
                now=outcome(0.0),
                planned=outcome(0.28),
                best=outcome(0.30),
                best_set=("splitter_rig",),
                everything=0.3,
                prospect="unlikely",
            ),
        ),
        sets_tried=3,
        complete=True,
    )


def candidates(results: Results) -> dict[str, Any]:
    """Return two builds compared on one subject."""
    judged = [asdict(limit.conformance) for limit in results.summary.limits]

    def build(name: str, words: str, verdict: str) -> dict[str, Any]:
        return {
            "name": name,
            "words": words,
            "overrides": [["rear_wheel_rate", "normal, 4.0 N/mm, sd 0.3", None]] if name == "stiff" else [],
            "without_effect": ["paint"] if name == "stiff" else [],
            "limits": judged,
            "joint": judged[0],
            "joint_safety": None,
            "verdict": verdict,
            "aims": [
                {"name": "top speed", "mean": 56.0, "error": 0.02, "low": 53.0, "high": 59.0, "unanswered": 0}
            ],
            "dominated_by": ["stiff"] if name == "soft" else [],
            "speeds": [],
        }

    difference = {
        "mean": 4.2,
        "error": 0.05,
        "sd": 1.5,
        "low": 1.8,
        "median": 4.1,
        "high": 6.9,
        "better": 0.992,
        "better_low": 0.990,
        "better_high": 0.994,
        "equal": 0.0,
        "worse": 0.008,
        "unanswered": 0,
        "samples": 8192,
        "variance_ratio": None,
    }
    return {
        "headline": "build with stiffer springs",
        "samples": 8192,
        "seed": 7,
        "limits": [limit.name for limit in results.summary.limits],
        "required": [limit.probability for limit in results.summary.limits],
        "safety": [limit.safety for limit in results.summary.limits],
        "subjects": [
            {
                "label": "front axle load",
                "quantity": "front_axle_load",
                "condition": "closed_45",
                "minus": None,
                "unit": "N",
                "display_unit": "N",
                "better": "higher",
                "by_margin": False,
            }
        ],
        "candidates": [build("stiff", "stiffer springs", "pass"), build("soft", "springs as built", "fail")],
        "pairs": [
            {
                "first": "stiff",
                "second": "soft",
                "differences": [{"subject": 0, "difference": difference, "histogram": {}}],
                "verdicts": [],
                "all_limits": {},
                "first_as_good": {},
                "second_as_good": {},
            }
        ],
        "rankings": [
            {"by": "highest top speed", "unit": "m/s", "display_unit": "km/h", "sign": 1.0, "ranking": {}}
        ],
        "choice": {
            "by": "highest top speed",
            "unit": "m/s",
            "display_unit": "km/h",
            "payoffs": [56.0, 55.0],
            "best": "stiff",
            "everything": {"gain": expected(0.3, 0.01), "turns": expected(0.2)},
            "inputs": [
                {"label": "shaft power", "worth": {"gain": expected(0.1, 0.01), "turns": expected(0.1)}}
            ],
            "measurements": [],
        },
        "recommended": "stiff",
        "notes": ["both share the wing"],
    }


def variable(name: str, words: str, low: float, high: float, unit: str, shown: str) -> dict[str, Any]:
    """Return a design variable that the build has in the middle of its range."""
    return {
        "name": name,
        "words": words,
        "low": low,
        "high": high,
        "step": None,
        "now": (low + high) / 2,
        "unit": unit,
        "display_unit": shown,
        "spread": "kept",
    }


def design(results: Results) -> dict[str, Any]:
    """Return a map over two variables, one over one, a search and an answer."""
    rate = variable("rear_wheel_rate", "rear wheel rate", 2000.0, 6000.0, "N/m", "N/mm")
    area = variable("wing_area", "wing area", 0.02, 0.04, "m**2", "m**2")
    names = [limit.name for limit in results.summary.limits]
    judged = [asdict(limit.conformance) for limit in results.summary.limits]

    def limits(grid: list[list[float]]) -> list[dict[str, Any]]:
        return [
            {"name": name, "required": 0.95, "safety": True, "probability": grid, "boundary": []}
            for name in names
        ]

    plane = [[0.10, 0.60, 0.99], [0.05, 0.40, 0.96]]
    line = [[0.10, 0.60, 0.99]]
    stretch = {
        "low": {"value": 5000.0, "sure": 5100.0, "possible": 4900.0, "at_end": False},
        "high": {"value": 6000.0, "sure": 6000.0, "possible": 6000.0, "at_end": True},
    }
    shared = {
        "around": "as it stands",
        "all_safety": None,
        "sure_boundary": [],
        "possible_boundary": [],
        "met": 0.33,
        "samples": 2000,
    }
    return {
        "headline": "every limit holds from 5 N/mm on",
        "build": "as it stands",
        "maps": [
            {
                "name": "spring and wing",
                "headline": "two of six points meet every limit",
                "variables": [rate, area],
                "values": [[2000.0, 4000.0, 6000.0], [0.02, 0.04]],
                "limits": limits(plane),
                "all_limits": plane,
                "verdict": [["fail", "fail", "pass"], ["fail", "fail", "undecided"]],
                "boundary": [[5000.0, 0.02, 5200.0, 0.04]],
                "stretches": [],
                **shared,
            },
            {
                "name": "spring alone",
                "headline": "stiff springs do",
                "variables": [rate],
                "values": [[2000.0, 4000.0, 6000.0]],
                "limits": limits(line),
                "all_limits": line,
                "verdict": [["fail", "fail", "pass"]],
                "boundary": [],
                "stretches": [stretch],
                **shared,
            },
        ],
        "search": {
            "headline": "the best build that holds every limit reaches 57 m/s",
            "variables": [rate, area],
            "aims": [
                {
                    "name": "top speed",
                    "words": "top speed",
                    "goal": "highest",
                    "unit": "m/s",
                    "display_unit": "km/h",
                }
            ],
            "limits": names,
            "required": [0.95] * len(names),
            "points": [],
            "optimum": {
                "values": [5400.0, 0.031],
                "found": 57.0,
                "aims": [57.0],
                "aim_errors": [0.02],
                "limits": judged,
                "all_limits": judged[0],
                "verdict": "pass",
                "held_back_by": [names[0]],
                "reserve": 2.0,
                "tried": 120,
                "samples": 2000,
            },
            "nearest": None,
            "nearest_fails": [],
            "samples": 1000,
            "notes": [],
        },
        "answers": [
            {
                "around": "as it stands",
                "ask": "how stiff must the rear spring be",
                "headline": "5.1 N/mm or more",
                "variable": rate,
                "limit": names[0],
                "required": 0.95,
                "stretches": [stretch],
                "choose": 5100.0,
                "best": 6000.0,
                "best_probability": 0.99,
                "others": [{"name": names[1], "required": 0.99, "probability": 0.999, "verdict": "pass"}],
                "values": [2000.0, 4000.0, 6000.0],
                "probabilities": [0.10, None, 0.99],
                "samples": 2000,
            }
        ],
        "notes": ["springs come in steps of 0.1 N/mm"],
    }


def highest_speed() -> dict[str, Any]:
    """Return the ladder of one state."""
    return {
        "headline": "Flap closed: all safety limits hold up to 44 m/s. A prediction, never a clearance.",
        "build": "as it stands",
        "states": [
            {
                "words": "flap closed",
                "flap_opening": 0.0,
                "conditions": ["closed_45"],
                "headline": "Flap closed: all safety limits hold up to 44 m/s",
                "limits": [
                    {
                        "name": "Front wheels carry load",
                        "how": "at each speed",
                        "required": 0.95,
                        "probabilities": [1.0, 0.97, 0.5],
                    }
                ],
                "speed": 44.0,
                "sure": None,
                "possible": 45.0,
                "to_the_end": False,
                "held_back_by": "Front wheels carry load",
                "reachable": [48.0, 51.0, 55.0],
                "speeds": [20.0, 44.0, 60.0],
                "together": [1.0, 0.97, 0.5],
                "ladder": [
                    {
                        "speed": 30.0,
                        "load_share": 0.46,
                        "holds": 1.0,
                        "expectations": [
                            {
                                "quantity": "pitch",
                                "condition": "closed_45",
                                "unit": "rad",
                                "display_unit": "deg",
                                "low": 0.01,
                                "middle": 0.015,
                                "high": 0.02,
                            }
                        ],
                    }
                ],
            }
        ],
        "look_after_each": ["look for fresh marks under the splitter"],
        "samples": 2000,
        "notes": [],
    }


def validation() -> list[dict[str, Any]]:
    """Return one log held against its prediction."""
    return [
        {
            "quantity": "pitch",
            "unit": "rad",
            "along": "speed",
            "rows": 3,
            "outside_range": 0,
            "share": 0.9,
            "coverage": 0.667,
            "expected_low": 0.55,
            "expected_high": 1.0,
            "effective_rows": 2.4,
            "bias": 0.001,
            "bias_in_spreads": 0.3,
            "noise": 0.0005,
            "chance": 0.31,
            "explains": True,
            "stretches": [],
            "words": "the prediction explains the run",
            "notes": ["one row was an outlier"],
            "at": [20.0, 30.0, 40.0],
            "logged": [0.005, 0.012, 0.028],
            "lower": [0.002, 0.008, 0.018],
            "median": [0.004, 0.011, 0.022],
            "upper": [0.006, 0.014, 0.026],
        }
    ]
