"""Lines of the nominal car: speed over the strip, push against resistance, the linkage over its travel."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeVar

from explorer.graph.labels import label
from explorer.graph.written import percent
from explorer.results.curves import Curves, RunOverStrip
from reports.blocks import Block, Column, Figure, Gallery, Line, Section, Table, cell
from reports.charts import NARROW, WIDE, Mark
from reports.charts_of_runs import NamedLine, Spot, lines
from reports.findings import slug
from reports.formatting import METRES, Amount, Scale, amount, scale
from reports.report import Report, sentence

# Rows of the tables behind the lines.
_ROWS = 11
_PUSH, _RESISTANCE = "driving_force", "resistance_force"
_NEEDED, _AVAILABLE = "servo_working_torque", "servo_available_torque"
_GAPS = ("slot_gap", "loaded_slot_gap")
Row = TypeVar("Row")


def build(report: Report) -> Section | None:
    """Draw the run over the strip or along the straight, and the flap's linkage over its travel."""
    blocks: list[Block] = []
    if report.summary.runs:
        blocks.append(_over_strip(report, report.summary.runs))
    travel = [curves for curves in report.summary.curves if curves.along == "flap_opening"]
    if travel:
        blocks.append(Gallery(_travel(report, travel[0])))
    return Section("runs", "The run and the flap in motion", tuple(blocks)) if blocks else None


def build_push(report: Report) -> Section | None:
    """Draw push against resistance, to be looked up."""
    curves = [one for one in report.summary.curves if one.along == "speed"]
    if not curves:
        return None
    return Section("push", "Push against resistance", (_push(report, curves),), appendix=True)


def _over_strip(report: Report, runs: Sequence[RunOverStrip]) -> Figure:
    """Draw speed over the way, up to the place to brake and on to the end."""
    length = runs[0].length
    names = [f"flap {'open' if run.flap_used else 'shut'}" for run in runs]
    used, shut = ([run.speed[-1] for run in runs if run.flap_used is opened] for opened in (True, False))
    finding: tuple[str | Amount, ...] = ()
    if used and shut:
        finding = (
            f"Opening the flap {'gains' if used[0] >= shut[0] else 'costs'} ",
            report.speed(abs(used[0] - shut[0])),
            " by the place to brake. ",
        )
    for name, run in zip(names, runs, strict=True):
        finding = (
            *finding,
            f"{sentence(name)[:-1]}: ",
            report.speed(run.speed[-1]),
            " at ",
            amount(run.distance[-1], METRES, spread=2.0),
            ", the last place to brake. ",
        )

    def chart(way: Scale, speed: Scale) -> dict[str, object]:
        drawn = [
            NamedLine(
                name,
                [way.value(x) for x in (*run.distance, *run.braking_distance[1:])],
                [speed.value(v) for v in (*run.speed, *run.braking_speed[1:])],
            )
            for name, run in zip(names, runs, strict=True)
        ]
        spots = [
            Spot(way.value(run.distance[-1]), speed.value(run.speed[-1]), "brake", place)
            for place, run in enumerate(runs)
        ]
        for place, run in enumerate(runs):
            for where, words in ((run.starts, "flap starts"), (run.opened, "flap open")):
                if where is not None:
                    spots.append(Spot(way.value(where), speed.value(_at(run, where)), words, place))
        return lines(
            drawn,
            x_axis=way.titled("distance from the start"),
            y_axis=speed.titled("speed"),
            spots=spots,
            ends=[Mark(way.value(length), "end")],
            width=WIDE,
        )

    rows = [
        (
            cell(name),
            cell(amount(x, METRES, spread=2.0), order=x),
            cell(report.speed(v), order=v),
        )
        for name, run in zip(names, runs, strict=True)
        for x, v in _some(
            list(
                zip(
                    (*run.distance, *run.braking_distance[1:]),
                    (*run.speed, *run.braking_speed[1:]),
                    strict=True,
                )
            )
        )
    ]
    return Figure(
        name="run-over-strip",
        title="Speed along the strip: full throttle, then brakes with the flap shut",
        alternative=("Speed against the distance from the start. ", *finding),
        caption=(*finding, "Every input nominal; until the brakes answer, the speed is held."),
        draw=chart,
        scales=lambda system: (scale(METRES, system), scale(report.of_speed, system)),
        numbers=Table(
            "run-over-strip",
            "Speed of the nominal car along the strip.",
            (Column("Run"), Column("Distance", number=True), Column("Speed", number=True)),
            tuple(rows),
            small=True,
        ),
    )


def _at(run: RunOverStrip, where: float) -> float:
    """Return the speed at a place, between the rows of the run."""
    place = next((i for i, x in enumerate(run.distance) if x >= where), len(run.distance) - 1)
    before, after = run.distance[max(place - 1, 0)], run.distance[place]
    share = (where - before) / (after - before) if after > before else 0.0
    return run.speed[max(place - 1, 0)] + share * (run.speed[place] - run.speed[max(place - 1, 0)])


def _some(rows: Sequence[Row]) -> list[Row]:
    """Keep so many rows that a table can be read, both ends among them."""
    step = max(1, (len(rows) - 1) // (_ROWS - 1))
    kept = list(rows[::step])
    return kept if kept[-1] == rows[-1] else [*kept, rows[-1]]


def _push(report: Report, curves: Sequence[Curves]) -> Figure:
    """Draw what the wheels push and what holds the car, for the flap shut and open."""
    names = [report.swept(one.condition, "speed") for one in curves]
    most = max(value for one in curves for value in one.values[_PUSH] if math.isfinite(value))
    tops = [report.summary.nominal[one.condition].get("top_speed") for one in curves]
    finding: tuple[str | Amount, ...] = ()
    if len(tops) == 2 and tops[0] is not None and tops[1] is not None:
        quick, slow = names if tops[0] > tops[1] else names[::-1]
        finding = ("Top speed is ", report.speed(abs(tops[0] - tops[1])), f" higher {quick} than {slow}. ")
    for name, top in zip(names, tops, strict=True):
        if top is not None:
            finding = (
                *finding,
                f"{sentence(name)[:-1]}: top speed where they meet, ",
                report.speed(top),
                ". ",
            )

    def chart(x: Scale, y: Scale) -> dict[str, object]:
        drawn, spots = [], []
        for name, one, top in zip(names, curves, tops, strict=True):
            for quantity, words in ((_RESISTANCE, "resistance"), (_PUSH, "push")):
                kept = [
                    (at, v) for at, v in zip(one.at, one.values[quantity], strict=True) if math.isfinite(v)
                ]
                drawn.append(
                    NamedLine(
                        f"{words}, {name}", [x.value(at) for at, _ in kept], [y.value(v) for _, v in kept]
                    )
                )
            if top is not None:
                force = min(
                    zip(one.at, one.values[_RESISTANCE], strict=True), key=lambda pair: abs(pair[0] - top)
                )[1]
                spots.append(
                    Spot(x.value(top), y.value(force), f"{x.value(top):.3g}", len(drawn) - 2, crossing=True)
                )
        return lines(drawn, x_axis=x.titled("speed"), y_axis=y.titled("force"), spots=spots, width=WIDE)

    rows = [
        (
            cell(name),
            cell(report.speed(at), order=at),
            cell(amount(push, report.units(_PUSH), spread=most / 50), order=push),
            cell(amount(held, report.units(_RESISTANCE), spread=most / 50), order=held),
        )
        for name, one in zip(names, curves, strict=True)
        for at, push, held in _some(
            list(zip(one.at, one.values[_PUSH], one.values[_RESISTANCE], strict=True))
        )
    ]
    return Figure(
        name="push-and-resistance",
        title="Push of the driven wheels against the resistance",
        alternative=("Force against speed: push falls, resistance rises. ", *finding),
        caption=(*finding, "Left of there the car still gains speed by what lies between the lines."),
        draw=chart,
        scales=lambda system: (
            scale(report.of_speed, system),
            scale(report.units(_PUSH), system, magnitude=most),
        ),
        numbers=Table(
            "push-and-resistance",
            "Forces of the nominal car.",
            (
                Column("Condition"),
                Column("Speed", number=True),
                Column("Push", number=True),
                Column("Resistance", number=True),
            ),
            tuple(rows),
            small=True,
        ),
    )


def _travel(report: Report, curves: Curves) -> tuple[Figure, ...]:
    """Draw angles, torque and gaps over the travel, each with its worst place."""
    elements = report.summary.families.get("element", ())
    figures = [
        _over_travel(
            report,
            curves,
            {f"{element}_angle": element.replace("_", " ") for element in elements},
            "Incidence over the travel of the flap",
            "incidence",
            (),
        )
    ]
    if _NEEDED in curves.values and _AVAILABLE in curves.values:
        place = max(range(len(curves.at)), key=lambda i: _or(curves.values[_NEEDED][i], -math.inf))
        left = curves.values[_AVAILABLE][place] - curves.values[_NEEDED][place]
        figures.append(
            _over_travel(
                report,
                curves,
                {_NEEDED: "needed", _AVAILABLE: "can be had"},
                "Torque of the servo over the travel",
                "torque",
                (
                    "Least in hand ",
                    amount(left, report.units(_NEEDED), spread=left / 10),
                    _where(curves, place),
                ),
                (_NEEDED, place),
            )
        )
    gaps = dict(zip(_GAPS, ("no load", "air on it"), strict=True))
    gaps = {name: words for name, words in gaps.items() if name in curves.values}
    if gaps:
        worst = list(gaps)[-1]
        place = min(range(len(curves.at)), key=lambda i: _or(curves.values[worst][i], math.inf))
        value = curves.values[worst][place]
        figures.append(
            _over_travel(
                report,
                curves,
                gaps,
                "Narrowest gap between neighbours over the travel",
                "gap",
                (
                    "Narrowest ",
                    amount(value, report.units(worst), spread=abs(value) / 20),
                    _where(curves, place),
                ),
                (worst, place),
            )
        )
    return tuple(figures)


def _or(value: float, instead: float) -> float:
    return value if math.isfinite(value) else instead


def _where(curves: Curves, place: int) -> str:
    share = curves.at[place]
    if share in (0.0, 1.0):
        return f", flap {'open' if share else 'shut'}. "
    return f" at {percent(share, 2)} of the travel. "


def _over_travel(
    report: Report,
    curves: Curves,
    names: dict[str, str],
    title: str,
    axis: str,
    finding: tuple[str | Amount, ...],
    worst: tuple[str, int] | None = None,
) -> Figure:
    first = next(iter(names))
    most = max(abs(v) for name in names for v in curves.values[name] if math.isfinite(v))
    if not finding:
        finding = tuple(
            part
            for name, words in names.items()
            for part in (
                f"{sentence(words)[:-1]} from ",
                amount(curves.values[name][0], report.units(name), spread=most / 100),
                " to ",
                amount(curves.values[name][-1], report.units(name), spread=most / 100),
                ". ",
            )
        )

    def chart(y: Scale) -> dict[str, object]:
        drawn = [
            NamedLine(words, [100 * at for at in curves.at], [y.value(v) for v in curves.values[name]])
            for name, words in names.items()
        ]
        spots = []
        if worst is not None:
            name, place = worst
            spots = [
                Spot(100 * curves.at[place], y.value(curves.values[name][place]), "", list(names).index(name))
            ]
        return lines(drawn, x_axis="opening [%]", y_axis=y.titled(axis), spots=spots, width=NARROW)

    rows = [
        (
            cell(percent(at, 2), order=at),
            *(
                cell(amount(v, report.units(name), spread=most / 100), order=v)
                for name, v in zip(names, row, strict=True)
            ),
        )
        for at, *row in _some(list(zip(curves.at, *(curves.values[name] for name in names), strict=True)))
    ]
    words: Line = (*finding, f"{sentence(report.condition(curves.condition))[:-1]}, every input nominal.")
    return Figure(
        name=f"travel-{slug(axis)}",
        title=title,
        alternative=(f"{sentence(axis)[:-1]} against the opening of the flap. ", *finding),
        caption=words,
        draw=chart,
        scales=lambda system: (scale(report.units(first), system, magnitude=most),),
        wide=False,
        numbers=Table(
            f"travel-{slug(axis)}",
            title,
            (Column("Opening", number=True), *(Column(label(name), number=True) for name in names)),
            tuple(rows),
            small=True,
        ),
    )
