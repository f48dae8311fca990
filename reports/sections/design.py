"""The design space: where every limit holds, the best build in it, and answers to "how much may it be"."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from typing import Any

from explorer.estimators.design_space import Stretch
from explorer.graph.labels import begun
from explorer.graph.written import System, chance, listed, percent
from explorer.results.exploration import (
    AnswerRecord,
    DesignPoint,
    Exploration,
    MapRecord,
    OptimumRecord,
    SearchRecord,
    VariableRecord,
)
from explorer.study.builds import AS_IT_STANDS
from reports.blocks import (
    SIGNS,
    Block,
    Bullets,
    Cell,
    Column,
    Figure,
    Heading,
    Line,
    Paragraph,
    Section,
    Table,
    Verdict,
    cell,
)
from reports.charts import Mark
from reports.charts_of_designs import ChanceCurve, Map, chances, heat_map
from reports.findings import in_verbs, judged_words, slug
from reports.formatting import Amount, Scale, amount, counted, range_amount, scale, share
from reports.report import Report, noted, sentence

# What draws a map where there are letters only.
_LETTERS = {"pass": "#", "fail": ".", "undecided": "?"}
_KEY = "# every limit passes, ? undecided, . one fails"
_MOST_OF_FRONT = 8


def build(report: Report) -> Section | None:
    """Print an exploration as it stands in the summary."""
    found = report.summary.design
    if found is None:
        return None
    blocks: list[Block] = [
        Paragraph(headline(found, report.limit_names), lead=True),
    ]
    if found.search is not None:
        blocks.append(Paragraph((f"The best build was looked for from the build “{found.build}”.",)))
    for one in found.maps:
        said = Paragraph(map_headline(one, report.limit_names))
        blocks += [Heading(one.name), said, _around(one.around), _map(one)]
    if found.search is not None:
        blocks += [Heading("The best build tried"), *_search(found.search, found.build)]
    for answer in found.answers:
        said = Paragraph(answer_headline(answer))
        heading = Heading(sentence(answer.ask).removesuffix("."))
        blocks += [heading, said, _around(answer.around), _answer(answer)]
    blocks += noted(found.notes)
    return Section("design", "The design space", tuple(blocks))


def in_short(report: Report) -> list[Block]:
    """Say for a terminal the best build, each answer and map in its sentence, and what came to no result."""
    found = report.summary.design
    if found is None:
        return []
    best = [search_headline(found.search)] if found.search is not None else []
    answers = [(f"“{one.ask}” ", *answer_headline(one)) for one in found.answers]
    maps = [map_headline(one, report.limit_names) for one in found.maps]
    notes = [(sentence(note),) for note in found.notes]
    return [Bullets((*best, *answers, *maps, *notes))]


def headline(found: Exploration, limits: frozenset[str]) -> Line:
    """Say the first thing that was found: of the search, else of the first answer or map."""
    if found.search is not None:
        return search_headline(found.search)
    return answer_headline(found.answers[0]) if found.answers else map_headline(found.maps[0], limits)


def _around(words: str) -> Paragraph:
    return Paragraph((f"All else as in the build “{words}”.",))


def _start(around: str) -> str:
    """Name where the inputs that are varied stand in the build around which they are."""
    return "as in the study" if around == AS_IT_STANDS.words else f"as in “{around}”"


def _plane_key(around: str) -> str:
    whose = "the car as the study has it" if around == AS_IT_STANDS.words else f"the build “{around}”"
    return (
        "; ✓ passes, ✗ fails, ? is undecided. The heavy line runs where the estimate just reaches what is "
        f"required, the diamond is {whose}"
    )


def _scale(variable: VariableRecord, system: System) -> Scale:
    return scale(variable, system, magnitude=variable.high)


def _value(variable: VariableRecord, value: float | None) -> Amount:
    """Write a value to choose: as finely as the range it was looked for in, and without idle zeros."""
    finest = (variable.high - variable.low) / 20
    return amount(value, variable, spread=finest, zeros=False)


# Maps.


def map_headline(found: MapRecord, limits: frozenset[str]) -> Line:
    """Say where on a map its limits hold; ``limits`` names all that the study has."""
    every = {limit.name for limit in found.limits} == limits
    named = " and ".join(f"“{limit.name}”" for limit in found.limits)
    held = "every limit is met" if every else f"{named} is met"
    if found.met == 0:
        return (f"{found.name}: nowhere on the map is it certain that {held}.",)
    if not found.stretches:
        return (f"{found.name}: {held} on {chance(found.met)} of the map.",)
    return (f"{found.name}: {held} ", *_stretches(found.variables[0], found.stretches), ".")


def _stretches(variable: VariableRecord, stretches: Sequence[Stretch]) -> Line:
    parts: Line = ()
    for stretch in stretches:
        ends = _value(variable, stretch.low.value), _value(variable, stretch.high.value)
        parts = (*parts, " and from " if parts else "from ", ends[0], " to ", ends[1])
    return parts


def _map(found: MapRecord) -> Figure:
    two = len(found.variables) == 2
    key = _plane_key(found.around) if two else ""
    return Figure(
        name=f"map-{slug(found.name)}",
        title=f"Where all limits are met: {found.name}",
        alternative=(f"Map of the chance that all limits are met over {_over(found)}.",),
        caption=(f"Every limit passes at {chance(found.met)} of the points{key}. ",),
        draw=partial(_plane if two else _line, found),
        scales=lambda system: tuple(_scale(variable, system) for variable in found.variables),
        signs=_letters(found) if two else (),
    )


def _over(found: MapRecord) -> str:
    return " and ".join(variable.words for variable in found.variables)


def _letters(found: MapRecord) -> tuple[Line, ...]:
    across, up = found.variables
    rows = zip(reversed(found.verdict), reversed(found.values[1]), strict=True)
    lines = [
        (
            Amount(tuple(f"{text:>14} " for text in _value(up, value).texts)),
            "".join(_LETTERS[word] for word in row),
        )
        for row, value in rows
    ]
    low, high = (_value(across, found.values[0][end]) for end in (0, -1))
    return (*lines, (f"{up.words} up, {across.words} across from ", low, " to ", high, f"; {_KEY}"))


def _plane(found: MapRecord, x: Scale, y: Scale) -> dict[str, Any]:
    first, second = found.variables
    return heat_map(
        Map(
            [x.value(value) for value in found.values[0]],
            [y.value(value) for value in found.values[1]],
            found.all_limits,
            [[SIGNS[word] for word in row] for row in found.verdict],
            [(x.value(a), y.value(b), x.value(c), y.value(d)) for a, b, c, d in found.boundary],
            None if first.now is None or second.now is None else (x.value(first.now), y.value(second.now)),
            _start(found.around),
        ),
        x_axis=x.titled(first.words),
        y_axis=y.titled(second.words),
    )


def _line(found: MapRecord, shown: Scale) -> dict[str, Any]:
    (variable,) = found.variables
    x = [shown.value(value) for value in found.values[0]]
    curves = [ChanceCurve(limit.name, x, limit.probability[0]) for limit in found.limits]
    now = [] if variable.now is None else [Mark(shown.value(variable.now), _start(found.around))]
    return chances(curves, x_axis=shown.titled(variable.words), marks=now)


# The best build.


def search_headline(found: SearchRecord) -> Line:
    """Say the best build and what it reaches, or why there is none."""
    optimum = found.optimum
    if optimum is None:
        fails = "; ".join(found.nearest_fails) or "none by its estimate, but that is not certain"
        return (
            f"No build in the ranges meets every limit; the nearest of {len(found.points)} fails: {fails}.",
        )
    failing = [
        f"“{name}” {'fails' if one.verdict == 'fail' else 'stays undecided'}"
        for name, one in zip(found.limits, optimum.limits, strict=True)
        if one.verdict != "pass"
    ]
    parts: Line = (
        "No build is recommended. The best tried for " if failing else "Best build for ",
        f"{found.objectives[0].words}: ",
    )
    for place, (variable, value) in enumerate(zip(found.variables, optimum.values, strict=True)):
        parts = (*parts, f"{', ' if place else ''}{variable.words} ", _value(variable, value))
    stands = f"but {listed(failing)}" if failing else "every limit passes"
    reached = amount(optimum.objectives[0], found.objectives[0], digits=3)
    return (*parts, "; ", reached, f" on average; {stands} on fresh samples.")


def _search(found: SearchRecord, around: str) -> list[Block]:
    blocks: list[Block] = [Paragraph(search_headline(found))]
    optimum, nearest = found.optimum, found.nearest
    if optimum is not None:
        tried = counted(optimum.tried, "build")
        blocks += [
            _build_table(found, around, optimum.values, f"The best of {tried} tried, checked on fresh cars."),
            _on_fresh_cars(found, optimum),
        ]
        if optimum.held_back_by:
            said = f"What stands in the way of more: {', '.join(optimum.held_back_by)}."
            blocks.append(Paragraph((said,)))
        if optimum.at_end:
            said = f"At an end of its range, more may lie beyond: {', '.join(optimum.at_end)}."
            blocks.append(Paragraph((said,)))
    elif nearest is not None:
        blocks.append(_build_table(found, around, nearest.values, "The build that came nearest."))
        blocks.append(Paragraph((f"It fails: {', '.join(found.nearest_fails)}.",)))
    front = sorted((one for one in found.points if one.on_front), key=lambda one: one.objectives[0] or 0.0)
    if len(found.objectives) > 1 and len(front) > 1:
        blocks.append(_front_table(found, front))
    blocks += noted(found.notes)
    return blocks


def _on_fresh_cars(found: SearchRecord, optimum: OptimumRecord) -> Table:
    return Table(
        "optimum-limits",
        "How it stands on fresh cars, which the search never saw.",
        (
            Column("Limit", width=50),
            Column("Met by", number=True, width=34),
            Column("Verdict", width=16),
        ),
        tuple(
            (
                cell(name),
                cell(*judged_words(one, optimum.sureness.get(name)), order=one.probability),
                cell(Verdict(one.verdict)),
            )
            for name, one in zip(found.limits, optimum.limits, strict=True)
        ),
        small=True,
    )


def _build_table(found: SearchRecord, around: str, values: Sequence[float], caption: str) -> Table:
    return Table(
        "best-build",
        caption,
        (
            Column("Free to choose", width=34),
            Column("Chosen", number=True, width=20),
            Column(begun(_start(around)), number=True, width=20),
            Column("Range looked at", number=True, width=26),
        ),
        tuple(
            (
                cell(variable.words),
                cell(_value(variable, value)),
                cell("not given" if variable.now is None else _value(variable, variable.now)),
                cell(range_amount(variable.low, variable.high, variable)),
            )
            for variable, value in zip(found.variables, values, strict=True)
        ),
        small=True,
        sortable=False,
    )


def _front_table(found: SearchRecord, front: Sequence[DesignPoint]) -> Table:
    return Table(
        "front",
        "Trade-off: builds that meet every limit by the estimate of the search, not checked on fresh cars, "
        "and that no other betters in all objectives.",
        (
            *(Column(objective.words, number=True) for objective in found.objectives),
            *(Column(variable.words, number=True) for variable in found.variables),
        ),
        tuple(_front_row(found, one) for one in _spread_out(front, _MOST_OF_FRONT)),
        small=True,
        sortable=False,
    )


def _front_row(found: SearchRecord, one: DesignPoint) -> tuple[Cell, ...]:
    return (
        *(
            cell(amount(mean, objective, spread=error))
            for mean, error, objective in zip(
                one.objectives, one.objective_errors, found.objectives, strict=True
            )
        ),
        *(cell(_value(variable, value)) for variable, value in zip(found.variables, one.values, strict=True)),
    )


def _spread_out(items: Sequence[DesignPoint], most: int) -> list[DesignPoint]:
    """Keep at most so many, evenly from first to last."""
    if len(items) <= most:
        return list(items)
    return [items[round(k * (len(items) - 1) / (most - 1))] for k in range(most)]


# Answers.


def answer_headline(found: AnswerRecord) -> Line:
    """Say which values are enough, and which to choose."""
    variable = found.variable

    def value(si: float) -> Amount:
        return _value(variable, si)

    if not found.stretches:
        return (
            f"No {variable.words} between ",
            value(variable.low),
            " and ",
            value(variable.high),
            f" is enough; at best {share(found.best_probability)} of cars meet the limit, at ",
            value(found.best),
            ".",
        )
    parts: Line = (f"{variable.words[0].upper()}{variable.words[1:]}: ",)
    for place, stretch in enumerate(found.stretches):
        parts = (*parts, *((", or ",) if place else ()), *_stretch(variable, stretch))
    if found.choose is None:
        return (*parts, ".")
    if variable.now is not None and math.isclose(found.choose, variable.now, rel_tol=1e-9):
        return (*parts, "; it is enough as it is.")
    return (*parts, "; choose ", value(found.choose), ".")


def _stretch(variable: VariableRecord, one: Stretch) -> Line:
    low, high = _value(variable, one.low.value), _value(variable, one.high.value)
    if one.low.at_end and one.high.at_end:
        return ("any value from ", low, " to ", high, " is enough")
    if one.high.at_end:
        return (
            "at least ",
            low,
            " (",
            _value(variable, one.low.possible),
            " to ",
            _sure(variable, one.low.sure),
            ")",
        )
    if one.low.at_end:
        return (
            "at most ",
            high,
            " (",
            _sure(variable, one.high.sure),
            " to ",
            _value(variable, one.high.possible),
            ")",
        )
    return ("from ", low, " to ", high)


def _sure(variable: VariableRecord, sure: float | None) -> Amount | str:
    return "no value for certain" if sure is None else _value(variable, sure)


def _answer(found: AnswerRecord) -> Figure:
    return Figure(
        name=f"answer-{slug(found.ask)}",
        title=f"{found.limit} against {found.variable.words}",
        alternative=(f"Chance that a car meets “{found.limit}”, against {found.variable.words}.",),
        caption=_choose(found),
        draw=partial(_answer_chart, found),
        scales=lambda system: (_scale(found.variable, system),),
    )


def _answer_chart(found: AnswerRecord, shown: Scale) -> dict[str, Any]:
    marks = [
        Mark(shown.value(value), name)
        for value, name in ((found.variable.now, _start(found.around)), (found.choose, "choose"))
        if value is not None
    ]
    required = 100 * found.required
    course = ChanceCurve(found.limit, [shown.value(value) for value in found.values], found.probabilities)
    return chances(
        [course],
        x_axis=shown.titled(found.variable.words),
        marks=marks,
        required=[Mark(required, f"required {percent(found.required)}")],
    )


def _choose(found: AnswerRecord) -> Line:
    if found.choose is None:
        best = _value(found.variable, found.best)
        return ("No value in the range is certain to meet it; the best looked at is ", best, ".")
    others = listed(
        f"“{one.name}” {in_verbs(one.verdict, 1)}"
        + ("" if one.verdict == "pass" else f" ({share(one.probability)})")
        for one in found.others
    )
    rest = f" Of the other limits {others} there." if others else ""
    return ("Choose ", _value(found.variable, found.choose), f".{rest}")
