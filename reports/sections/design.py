"""The design space: where every limit holds, the best build in it, and answers to "how much may it be"."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from explorer.graph.units import System
from reports.blocks import (
    Block,
    Bullets,
    Cell,
    Column,
    Figure,
    Heading,
    Line,
    Paragraph,
    Section,
    Strong,
    Table,
    Verdict,
    cell,
    in_each_system,
)
from reports.charts import Mark
from reports.charts_of_designs import Course, Map, chances, heat_map
from reports.findings import slug
from reports.formatting import (
    Amount,
    Scale,
    amount,
    counted,
    percent,
    range_amount,
    scale,
    share,
    share_range,
)
from reports.report import Report, number, sentence

Record = Mapping[str, Any]
_SIGNS = {"pass": "✓", "fail": "✗", "undecided": "?"}


def build(report: Report) -> Section | None:
    """Print an exploration as it stands in the summary."""
    found = report.summary.extra.get("design")
    if not isinstance(found, Mapping):
        return None
    blocks: list[Block] = [
        Paragraph((Strong(sentence(str(found["headline"]))),), lead=True),
        Paragraph((f"The best build was looked for from the build “{found['build']}”.",)),
    ]
    for record in found["maps"]:
        blocks += [
            Heading(str(record["name"])),
            Paragraph((sentence(str(record["headline"])),)),
            _around(record),
            _map(record),
        ]
    if found["search"]:
        blocks += [Heading("The best build found"), *_search(found["search"])]
    for answer in found["answers"]:
        blocks += [Heading(sentence(str(answer["ask"])).removesuffix(".")), _around(answer), *_answer(answer)]
    if found["notes"]:
        blocks.append(Bullets(tuple((sentence(str(note)),) for note in found["notes"])))
    return Section("design", "The design space", tuple(blocks))


def _around(record: Record) -> Paragraph:
    return Paragraph((f"All else as in the build “{record['around']}”.",))


def _scale(variable: Record, system: System) -> Scale:
    return scale(variable["unit"], variable["display_unit"], system, magnitude=number(variable["high"]))


def _value(variable: Record, value: float | None) -> Amount:
    step = number(variable["high"]) - number(variable["low"])
    return amount(value, variable["unit"], variable["display_unit"], spread=step / 20)


def _map(record: Record) -> Figure:
    two = len(record["variables"]) == 2
    return Figure(
        name=f"map-{slug(str(record['name']))}",
        title=f"Where all limits hold: {record['name']}",
        alternative=f"Map of the chance that all limits hold. {record['headline']}",
        caption=(
            f"Every limit passes at {percent(round(number(record['met']), 3))} of the points"
            f"{'; ✓ passes, ✗ fails, ? is undecided' if two else ''}. ",
            *(() if two else _stretches(record["variables"][0], record["stretches"])),
        ),
        draw=in_each_system(partial(_plane if two else _line, record)),
    )


def _plane(record: Record, system: System) -> dict[str, Any]:
    first, second = record["variables"]
    x, y = _scale(first, system), _scale(second, system)
    now = first["now"], second["now"]
    return heat_map(
        Map(
            [x.value(number(value)) for value in record["values"][0]],
            [y.value(number(value)) for value in record["values"][1]],
            [[number(value) for value in row] for row in record["all_limits"]],
            [[_SIGNS[str(word)] for word in row] for row in record["verdict"]],
            [(x.value(a), y.value(b), x.value(c), y.value(d)) for a, b, c, d in record["boundary"]],
            (x.value(now[0]), y.value(now[1])) if None not in now else None,
        ),
        x_axis=x.titled(str(first["words"])),
        y_axis=y.titled(str(second["words"])),
    )


def _line(record: Record, system: System) -> dict[str, Any]:
    (variable,) = record["variables"]
    shown = _scale(variable, system)
    x = [shown.value(number(value)) for value in record["values"][0]]
    courses = [
        Course(str(limit["name"]), x, [number(v) for v in limit["probability"][0]])
        for limit in record["limits"]
    ]
    now = [] if variable["now"] is None else [Mark(shown.value(number(variable["now"])), "now")]
    return chances(courses, x_axis=shown.titled(str(variable["words"])), marks=now)


def _stretches(variable: Record, stretches: Sequence[Record]) -> Line:
    if not stretches:
        return ("Nowhere in the range do all limits hold.",)
    parts: Line = ("All limits hold from ",)
    for position, stretch in enumerate(stretches):
        shown = range_amount(
            number(stretch["low"]["value"]),
            number(stretch["high"]["value"]),
            variable["unit"],
            variable["display_unit"],
        )
        parts = (*parts, *((" and from ",) if position else ()), shown)
    return (*parts, ".")


def _search(search: Record) -> list[Block]:
    blocks: list[Block] = [Paragraph((sentence(str(search["headline"])),))]
    optimum = search["optimum"]
    if optimum is None:
        nearest = search["nearest"]
        if nearest is not None:
            fails = ", ".join(search["nearest_fails"])
            blocks.append(_build_table(search, nearest["values"], "The build that came nearest."))
            blocks.append(Paragraph((f"It fails: {fails}.",)))
        return blocks
    blocks.append(
        _build_table(
            search,
            optimum["values"],
            f"The best of {counted(int(optimum['tried']), 'build')} tried, checked on fresh cars.",
        )
    )
    blocks.append(
        Table(
            "optimum-limits",
            "How it stands on fresh cars, which the search never saw.",
            (
                Column("Limit", width=50),
                Column("Holds in", number=True, width=34),
                Column("Verdict", width=16),
            ),
            tuple(
                _optimum_row(name, limit)
                for name, limit in zip(search["limits"], optimum["limits"], strict=True)
            ),
            small=True,
        )
    )
    if optimum["held_back_by"]:
        blocks.append(Paragraph((f"What stands in the way of more: {', '.join(optimum['held_back_by'])}.",)))
    return blocks


def _optimum_row(name: str, limit: Record) -> tuple[Cell, ...]:
    low, high = number(limit["low"]), number(limit["high"])
    chance = number(limit["probability"])
    return (
        cell(str(name)),
        cell(f"{share(chance, low, high)} ({share_range(low, high)})", order=chance),
        cell(Verdict(str(limit["verdict"]))),
    )


def _build_table(search: Record, values: Sequence[float], caption: str) -> Table:
    return Table(
        "best-build",
        caption,
        (
            Column("Free to choose", width=34),
            Column("Chosen", number=True, width=20),
            Column("Now", number=True, width=20),
            Column("Range looked at", number=True, width=26),
        ),
        tuple(
            (
                cell(str(variable["words"])),
                cell(_value(variable, number(value))),
                cell(_value(variable, variable["now"]) if variable["now"] is not None else "not given"),
                cell(
                    range_amount(
                        number(variable["low"]),
                        number(variable["high"]),
                        variable["unit"],
                        variable["display_unit"],
                    )
                ),
            )
            for variable, value in zip(search["variables"], values, strict=True)
        ),
        small=True,
        sortable=False,
    )


def _answer(answer: Record) -> list[Block]:
    variable = answer["variable"]
    figure = Figure(
        name=f"answer-{slug(str(answer['ask']))}",
        title=f"{answer['limit']} against {variable['words']}",
        alternative=f"Chance that {answer['limit']} holds against {variable['words']}. {answer['headline']}",
        caption=_choose(variable, answer),
        draw=in_each_system(partial(_answer_chart, answer)),
    )
    return [Paragraph((sentence(str(answer["headline"])),)), figure]


def _answer_chart(answer: Record, system: System) -> dict[str, Any]:
    variable = answer["variable"]
    shown = _scale(variable, system)
    marks = [
        Mark(shown.value(number(value)), name)
        for value, name in ((variable["now"], "now"), (answer["choose"], "choose"))
        if value is not None
    ]
    required = 100 * number(answer["required"])
    return chances(
        [
            Course(
                str(answer["limit"]),
                [shown.value(number(value)) for value in answer["values"]],
                [number(value) for value in answer["probabilities"]],
            )
        ],
        x_axis=shown.titled(str(variable["words"])),
        marks=marks,
        required=[Mark(required, f"required {required:.4g} %")],
    )


def _choose(variable: Record, answer: Record) -> Line:
    if answer["choose"] is None:
        return (
            "No value in the range lets it hold beyond doubt; the best looked at is ",
            _value(variable, answer["best"]),
            ".",
        )
    others = [f"{other['name']} {other['verdict']}" for other in answer["others"]]
    rest = f" The other limits there: {', '.join(others)}." if others else ""
    return ("Choose ", _value(variable, number(answer["choose"])), f".{rest}")
