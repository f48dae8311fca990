"""A run made up for the tests of the report: every number here is invented.

The shapes are those of a real run: a pass, a fail and an undecided limit, a difference between conditions,
missing answers, ties, correlations, and text that tries to be more than text.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np

from explorer.estimators.conformance import judge_margins
from explorer.estimators.sensitivity import Estimate, Index, Sensitivity
from explorer.results.histogram import Histogram
from explorer.results.records import (
    ConditionRecord,
    FailureRecord,
    InputRecord,
    LimitRecord,
    OutputRecord,
    QuantityRecord,
    Reproduction,
    Summary,
    SweepRecord,
)
from explorer.results.stored import Results
from explorer.study.builds import Override
from explorer.study.correlations import Correlation
from explorer.study.distributions import Exact
from explorer.study.limits import Bounds

SAMPLES = 8192
HOSTILE = "<script>alert('x')</script> & \"quoted\" <b>bold</b>"

_PROBABILITIES = (0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99)


def _samples() -> dict[str, np.ndarray]:
    rng = np.random.default_rng(20)
    draw = {
        name: rng.standard_normal(SAMPLES) for name in ("cg", "slope", "drag", "power", "rate", "splitter")
    }
    mass = 4.60 + 0.03 * rng.standard_normal(SAMPLES)
    cg = 0.172 + 0.004 * draw["cg"]
    slope = 2.6 + 0.4 * draw["slope"]
    drag = 0.030 * np.exp(0.1 * draw["drag"])
    power = 4200 + 250 * draw["power"]
    rate = 2600 + 250 * draw["rate"]
    splitter = 0.55 + 0.10 * (0.5 * draw["slope"] + math.sqrt(0.75) * draw["splitter"])
    closed = 13.5 - 9.0 * draw["slope"] + 7.0 * draw["rate"] / 1.5 + 4.0 * draw["splitter"]
    closed = np.where(slope > 3.72, np.nan, closed)
    return {
        "mass": mass,
        "cg_station": cg,
        "splitter_pitch_slope": slope,
        "body_drag_area": drag,
        "shaft_power": power,
        "rear_wheel_rate": rate,
        "splitter_downforce_coefficient": splitter,
        "air_temperature": 293.15 + 4 * rng.standard_normal(SAMPLES),
        "front_axle_load | closed_45": closed,
        "front_axle_load | open_55": 21 - 1.5 * draw["slope"] + 1.0 * draw["rate"],
        "top_speed | open - closed": 4.1 + 0.35 * draw["drag"] - 0.2 * draw["power"],
        "point_clearance | closed_45": 0.0061 + 0.0024 * draw["rate"] - 0.0011 * draw["slope"],
        "top_speed | open": 56.0 + 1.2 * draw["power"] - 1.4 * draw["drag"],
    }


def _histogram(values: np.ndarray) -> Histogram:
    answered = values[~np.isnan(values)]
    low, high = np.quantile(answered, [0.001, 0.999])
    counts, edges = np.histogram(answered, bins=40, range=(low, high))
    return Histogram(
        tuple(map(float, edges)),
        tuple(map(int, counts)),
        int(np.sum(answered < low)),
        int(np.sum(answered > high)),
    )


def _output(
    values: np.ndarray, quantity: str, condition: str, minus: str | None, unit: str, display: str
) -> OutputRecord:
    answered = values[~np.isnan(values)]
    return OutputRecord(
        quantity=quantity,
        condition=condition,
        minus=minus,
        summary=f"Invented {quantity.replace('_', ' ')}.",
        unit=unit,
        display_unit=display,
        count=SAMPLES,
        failed=int(np.isnan(values).sum()),
        capped=0,
        nominal=float(np.median(answered)),
        mean=float(answered.mean()),
        sd=float(answered.std(ddof=1)),
        lowest=float(answered.min()),
        highest=float(answered.max()),
        quantiles=tuple((p, float(np.quantile(answered, p))) for p in _PROBABILITIES),
        histogram=_histogram(values),
    )


def _sensitivity(
    output: str, shares: dict[str, tuple[float, float]], tied: tuple[str, ...] = ()
) -> Sensitivity:
    indices = tuple(
        Index(
            name=name,
            members=(name,),
            first=Estimate(first, first - 0.02, first + 0.02),
            total=Estimate(total, total - 0.015, total + 0.015),
            tied_with=tuple(other for other in tied if other != name) if name in tied else (),
            rank=1 if name in tied else position + 1,
        )
        for position, (name, (first, total)) in enumerate(shares.items())
    )
    return Sensitivity(
        output=output,
        indices=indices,
        pairs=(),
        samples=4096,
        replicates=8,
        left_out=12 if tied else 0,
        variance=1.0,
        settled=not tied,
        note="",
    )


def _input(
    key: str, unit: str, display: str, values: np.ndarray | float, words: str, source: str | None
) -> InputRecord:
    exact = isinstance(values, float)
    array = np.asarray(values)
    quantity, _, condition = key.partition("@")
    return InputRecord(
        key=key,
        quantity=quantity,
        summary=f"Invented input {quantity.replace('_', ' ')}.",
        unit=unit,
        display_unit=display,
        words=(words,),
        exact=exact,
        nominal=float(array.mean()),
        sd=0.0 if exact else float(array.std()),
        low=float(array) if exact else float(np.quantile(array, 0.025)),
        high=float(array) if exact else float(np.quantile(array, 0.975)),
        source=source,
        default=source == "default",
        condition=condition or None,
        reaches=("Front wheels carry load",),
    )


def _sets(opening: float, speed: float | None = None, unit: str = "km/h") -> tuple[Override, ...]:
    flap = Override("flap_opening", "1", "1", Exact(float(opening)).said, None)
    return (flap,) if speed is None else (flap, Override("speed", "m/s", unit, Exact(speed).said, None))


def _sweep(quantity: str, condition: str, unit: str, display: str, falls: float, top: float) -> SweepRecord:
    x = tuple(float(v) for v in np.linspace(10, 60, 26))
    middle = [top - falls * v**2 for v in x]
    wide = [abs(0.1 * top) + abs(0.25 * falls) * v**2 for v in x]
    return SweepRecord(
        quantity=quantity,
        summary=f"Invented {quantity}.",
        unit=unit,
        display_unit=display,
        condition=condition,
        along="speed",
        along_unit="m/s",
        along_display_unit="m/s",
        x=x,
        low=tuple(m - w for m, w in zip(middle, wide, strict=True)),
        middle=tuple(middle),
        high=tuple(m + w for m, w in zip(middle, wide, strict=True)),
        failed=(0,) * len(x),
        samples=2048,
    )


def _handbook() -> tuple[QuantityRecord, ...]:
    def entry(
        name: str, subject: str, unit: str, needs: tuple[str, ...], source: str, given: bool = False
    ) -> QuantityRecord:
        return QuantityRecord(
            name,
            subject,
            unit,
            f"Invented meaning of {name.replace('_', ' ')}.",
            "More words.",
            source,
            needs,
            given,
        )

    return (
        entry("airspeed", "motion", "m/s", ("speed", "headwind"), "definition"),
        entry("dynamic_pressure", "motion", "Pa", ("air_density", "airspeed"), "definition"),
        entry(
            "front_axle_load", "pitch", "N", ("front_static_load", "front_compression"), "vertical balance"
        ),
        entry("pitch", "pitch", "rad", ("front_compression", "rear_compression"), "geometry"),
        entry("top_speed", "speed", "m/s", ("excess_force",), "power balance"),
        entry("point_clearance", "pitch", "m", ("pitch",), "geometry"),
        entry("mass", "car", "kg", (), "", given=True),
    )


def _limit(
    name: str,
    outputs: list[OutputRecord],
    position: int,
    columns: dict[str, np.ndarray],
    column: str,
    **rest: object,
) -> LimitRecord:
    output = outputs[position]
    values = columns[column]
    limit = Bounds(**{key: rest[key] for key in ("at_least", "at_most") if key in rest})  # type: ignore[arg-type]
    low, high = limit.ends
    probability = float(rest.get("probability", 0.95))  # type: ignore[arg-type]
    return LimitRecord(
        name=name,
        quantity=output.quantity,
        condition=output.condition,
        minus=output.minus,
        low=low,
        high=high,
        asked=limit.words,
        probability=probability,
        safety=bool(rest.get("safety", False)),
        why=str(rest.get("why", "")),
        unit=output.unit,
        display_unit=output.display_unit,
        output=position,
        conformance=judge_margins(np.minimum(values - low, high - values), probability),
        sensitivity=rest.get("sensitivity"),  # type: ignore[arg-type]
    )


@cache
def make_results(
    title: str = "Invented sprint car, one flap", source: str = "kitchen scale, three readings"
) -> Results:
    """Return a run as a study would leave it."""
    columns = _samples()
    outputs = [
        _output(columns["front_axle_load | closed_45"], "front_axle_load", "closed_45", None, "N", "N"),
        _output(columns["front_axle_load | open_55"], "front_axle_load", "open_55", None, "N", "N"),
        _output(columns["top_speed | open - closed"], "top_speed", "open", "closed", "m/s", "km/h"),
        _output(columns["point_clearance | closed_45"], "point_clearance", "closed_45", None, "m", "mm"),
        _output(columns["top_speed | open"], "top_speed", "open", None, "m/s", "km/h"),
    ]
    pitch_drivers = {
        "splitter_pitch_slope": (0.55, 0.61),
        "rear_wheel_rate": (0.24, 0.29),
        "splitter_downforce_coefficient": (0.10, 0.13),
        "cg_station": (0.02, 0.03),
        "mass": (0.0, 0.001),
    }
    clearance = {"rear_wheel_rate": (0.45, 0.48), "splitter_pitch_slope": (0.44, 0.47), "mass": (0.01, 0.01)}
    speed = {"body_drag_area": (0.75, 0.75), "shaft_power": (0.24, 0.25), "air_temperature": (0.0, 0.0)}
    undecided = float(np.quantile(columns["point_clearance | closed_45"], 0.1003))
    limits = (
        _limit(
            "Front wheels carry load",
            outputs,
            0,
            columns,
            "front_axle_load | closed_45",
            at_least=5.0,
            probability=0.95,
            safety=True,
            why="below this the splitter is about to lift and the car may go over backwards",
            sensitivity=_sensitivity("front", pitch_drivers),
        ),
        _limit(
            "Level when open",
            outputs,
            1,
            columns,
            "front_axle_load | open_55",
            at_least=10.0,
            probability=0.99,
            safety=True,
            why="the nose must stay down on the straight",
            sensitivity=_sensitivity("open", pitch_drivers),
        ),
        _limit(
            "Worth the trouble",
            outputs,
            2,
            columns,
            "top_speed | open - closed",
            at_least=2.5,
            probability=0.9,
            why="less would not pass anybody",
            sensitivity=_sensitivity("gain", speed),
        ),
        _limit(
            "Rear floor keeps clear",
            outputs,
            3,
            columns,
            "point_clearance | closed_45",
            at_least=undecided,
            probability=0.9,
            why="it scrapes",
            sensitivity=_sensitivity("clear", clearance, tied=("rear_wheel_rate", "splitter_pitch_slope")),
        ),
    )
    inputs = (
        _input("mass", "kg", "kg", columns["mass"], "normal, mean 4.60 kg, sd 0.03 kg", source),
        _input("cg_station", "m", "mm", columns["cg_station"], "normal, mean 172 mm, sd 4 mm", None),
        _input(
            "splitter_pitch_slope",
            "1/rad",
            "1/rad",
            columns["splitter_pitch_slope"],
            "normal, 2.6, sd 0.4",
            None,
        ),
        _input(
            "body_drag_area", "m**2", "m**2", columns["body_drag_area"], "lognormal", "coast-down, invented"
        ),
        _input(
            "shaft_power",
            "W",
            "W",
            columns["shaft_power"],
            "normal, mean 4200 W, sd 250 W",
            "data sheet, invented",
        ),
        _input(
            "rear_wheel_rate",
            "N/m",
            "N/mm",
            columns["rear_wheel_rate"],
            "normal, 2.6 N/mm, sd 0.25",
            "spring test",
        ),
        _input(
            "splitter_downforce_coefficient",
            "1",
            "1",
            columns["splitter_downforce_coefficient"],
            "normal, 0.55, sd 0.10",
            "estimate",
        ),
        _input(
            "air_temperature",
            "K",
            "degC",
            columns["air_temperature"],
            "normal, mean 20 degC, sd 4 K",
            "forecast",
        ),
        _input("wheelbase", "m", "mm", 0.325, "exactly 325 mm", "drawing"),
        _input("gravity", "m/s**2", "m/s**2", 9.80665, "exactly 9.80665 m/s**2", "default"),
        _input("speed@closed_45", "m/s", "km/h", 45.0, "exactly 162 km/h", "definition of the condition"),
    )
    limited = [limit for limit in limits if limit.safety]
    margins = np.stack(
        [
            columns["front_axle_load | closed_45"] - 5,
            columns["front_axle_load | open_55"] - 10,
            columns["top_speed | open - closed"] - 2.5,
            columns["point_clearance | closed_45"] - undecided,
        ]
    )
    summary = Summary(
        title=title,
        description="May this car run with the flap open on the straight, and closed in the corner before it",
        note="Every number in this study is invented",
        reproduction=Reproduction(
            study_file="study.toml",
            study_sha256="0123456789abcdef" * 4,
            seed=7,
            samples=SAMPLES,
            chunk=4096,
            design="plain random",
            version="0.1.0",
            python="3.11",
            libraries=(("numpy", "2.4"), ("scipy", "1.17")),
            created="2026-01-02T03:04:05Z",
            command="squatline run study.toml --seed 7",
        ),
        inputs=inputs,
        correlations=(Correlation("splitter_pitch_slope", "splitter_downforce_coefficient", 0.5, None),),
        conditions=(
            ConditionRecord("closed_45", "closed at 45 m/s", _sets(0, 45.0)),
            ConditionRecord("open_55", "open at 55 m/s", _sets(1, 55.0, "m/s")),
            ConditionRecord("closed", "flap closed", _sets(0)),
            ConditionRecord("open", "flap open", _sets(1)),
        ),
        limits=limits,
        joint=judge_margins(np.min(margins, axis=0), 0.9),
        joint_safety=judge_margins(np.min(margins[: len(limited)], axis=0), 0.95),
        outputs=tuple(outputs),
        sweeps=(
            _sweep("front_axle_load", "closed", "N", "N", 0.009, 21.0),
            _sweep("front_axle_load", "open", "N", "N", 0.0012, 21.0),
            _sweep("pitch", "closed", "rad", "deg", -2.6e-5, -0.008),
            _sweep("pitch", "open", "rad", "deg", -0.3e-5, -0.008),
        ),
        failures=(
            FailureRecord(
                "front_axle_load",
                "closed_45",
                "pitch",
                "the car has no steady attitude at this speed",
                int(np.isnan(columns["front_axle_load | closed_45"]).sum()),
            ),
        ),
        nominal={"closed_45": {"speed": 45.0, "pitch": 0.035}, "open_55": {"speed": 55.0, "pitch": 0.004}},
        handbook=_handbook(),
        assumptions=("steady running on a flat track", "rigid body and wing"),
        not_modelled=("gusts from the side", "tyres leaving the rim"),
        cautions=("nobody stands within the stopping distance of the track",),
        warnings=(),
        cautions_of_cars=(),
        families={},
        display={"speed": "km/h", "top_speed": "km/h", "pitch": "deg"},
    )
    return Results(summary, columns)


def hostile_results() -> Results:
    """Return a run whose every text tries to be a program."""
    results = make_results(title=HOSTILE, source=HOSTILE)
    summary = results.summary
    return replace(
        results,
        summary=replace(
            summary,
            description=HOSTILE,
            note=HOSTILE,
            limits=tuple(
                replace(limit, name=f"{position} {HOSTILE}", why=HOSTILE)
                for position, limit in enumerate(summary.limits)
            ),
            conditions=tuple(replace(condition, words=HOSTILE) for condition in summary.conditions),
            assumptions=(HOSTILE,),
            cautions=(HOSTILE,),
            reproduction=replace(summary.reproduction, study_file=HOSTILE, command=HOSTILE),
        ),
    )
