"""What failing cars look like: along the main driver, beside the rest, and one of them drawn."""

from __future__ import annotations

from collections.abc import Sequence

from explorer.graph.labels import begun
from explorer.graph.written import MINUS, System, chance
from explorer.results.failing_cars import FailingCars, MissedTogether, NearestCar
from explorer.results.records import InputRecord, LimitRecord
from reports.blocks import Block, Column, Figure, Gallery, Section, Table, cell
from reports.charts_of_cars import TwoGroups, groups_apart, margins_along
from reports.charts_of_limits import part_matrix
from reports.drawings.sideview import can_draw, exaggeration, two_cars
from reports.findings import by_severity, slug
from reports.formatting import Amount, Scale, amount, count, counted, range_amount, scale
from reports.options import SYSTEMS
from reports.report import Report, is_yes_or_no, sentence

# Words of a caption that are read out with a picture, too.
Spoken = tuple[str | Amount, ...]
# Points in a chart, of which so many at least lie on either side of the limit, and inputs written beside a
# drawing.
_POINTS, _EITHER = 200, 20
_WRITTEN = 5
# Limits in the matrix of those that fail together.
_MOST = 8


def build(report: Report) -> Section | None:
    """Draw the cars that miss the limit most in the way, and one of them."""
    described = _described(report)
    blocks: list[Block] = [Gallery(_pair(report, *one)) for one in described[:1]]
    if report.summary.nearest is not None:
        blocks += _two_cars(report, report.summary.nearest)
    return Section("failing", "What failing cars look like", tuple(blocks)) if blocks else None


def build_others(report: Report) -> Section | None:
    """Draw those that miss the other limits which do not pass, and which they miss together."""
    left = [one for one in _described(report)[1:] if one[0].conformance.verdict != "pass"]
    blocks: list[Block] = [Gallery(_pair(report, *one)) for one in left]
    if report.summary.together is not None:
        blocks.append(_together(report, report.summary.together))
    if not blocks:
        return None
    return Section("failing_others", "Cars that miss the other limits", tuple(blocks), appendix=True)


def _described(report: Report) -> list[tuple[LimitRecord, FailingCars]]:
    """Pair the limits with what is known of the cars that miss them, the one most in the way first."""
    found = {one.limit: one for one in report.summary.failing if one.inputs}
    return [
        (limit, found[limit.name])
        for limit in by_severity(report.summary)
        if limit.name in found and not is_yes_or_no(report.output(limit))
    ]


def _pair(report: Report, limit: LimitRecord, found: FailingCars) -> tuple[Figure, ...]:
    drawn = _along(report, limit, found)
    return ((drawn,) if drawn is not None else ()) + (_groups(report, limit, found),)


def _along(report: Report, limit: LimitRecord, found: FailingCars) -> Figure | None:
    """Draw the first cars of the run along the input in which failing cars differ most."""
    cars = report.results.first_samples(found.cars)
    key = found.inputs[0].key
    if key not in cars or limit.column not in cars:
        return None
    record, values = report.inputs[key], cars[limit.column].tolist()
    margins = (min(value - limit.low, limit.high - value) for value in values)
    name = report.input_name(key)
    answered = [(x, y) for x, y in zip(cars[key].tolist(), margins, strict=True) if y == y]
    pairs, more = _drawn(answered)
    unanswered = len(values) - len(answered)
    without = f" Not drawn: {counted(unanswered, 'car')} without an answer." if unanswered else ""
    first, last = found.slices[0], found.slices[-1]
    worse, better = sorted((first, last), key=lambda part: -part.missing / part.cars)
    finding: Spoken = (
        f"{chance(worse.missing / worse.cars)} of the fifth of cars with the "
        f"{'lowest' if worse is first else 'highest'} {name} (",
        range_amount(worse.low, worse.high, record, spread=record.sd),
        f") miss the limit, {chance(better.missing / better.cars)} of the fifth with the "
        f"{'lowest' if better is first else 'highest'}. ",
    )

    def chart(x: Scale, y: Scale) -> dict[str, object]:
        points = [(x.value(at), y.value(margin)) for at, margin in pairs]
        return margins_along(points, x_axis=x.titled(name), y_axis=y.titled("margin"))

    rows = [
        (
            cell(range_amount(part.low, part.high, record), order=part.low),
            cell(count(part.cars), order=part.cars),
            cell(count(part.missing), order=part.missing),
        )
        for part in found.slices
    ]
    return Figure(
        name=f"driver-{slug(limit.name)}",
        title=f"{sentence(name)[:-1]} against the margin of “{limit.name}”",
        alternative=(f"A point a car: {name} against the margin. ", *finding),
        caption=(
            *finding,
            f"{len(pairs)} of {count(found.cars)} cars drawn{more}; filled ones miss the limit.{without}",
        ),
        draw=chart,
        scales=lambda system: (
            scale(record, system, magnitude=record.nominal),
            scale(limit, system, magnitude=report.output(limit).sd, difference=True),
        ),
        wide=False,
        numbers=Table(
            f"driver-{slug(limit.name)}",
            "Cars in each fifth, and those that miss the limit.",
            (Column(name), Column("Cars", number=True), Column("Miss it", number=True)),
            tuple(rows),
            small=True,
            sortable=False,
        ),
    )


def _drawn(cars: Sequence[tuple[float, float]]) -> tuple[list[tuple[float, float]], str]:
    """Pick the first cars, and more of those on the side of the limit of which they hold too few; say so."""
    first, left = list(cars[:_POINTS]), cars[_POINTS:]
    for misses, words in ((True, "that miss the limit"), (False, "that meet it")):
        lacking = max(_EITHER - sum((margin < 0) is misses for _, margin in first), 0)
        if more := [car for car in left if (car[1] < 0) is misses][:lacking]:
            return [*first, *more], f", the first ones and {len(more)} more {words}"
    return first, ""


def _groups(report: Report, limit: LimitRecord, found: FailingCars) -> Figure:
    groups = [
        TwoGroups(
            begun(report.input_name(one.key)),
            (one.apart.rest.low, one.apart.rest.median, one.apart.rest.high),
            (one.apart.missing.low, one.apart.missing.median, one.apart.missing.high),
        )
        for one in found.inputs
    ]
    told = ", ".join(
        f"a {'higher' if one.apart.shift > 0 else 'lower'} {report.input_name(one.key)}"
        for one in found.inputs[:3]
    )
    first = found.inputs[0].apart
    rows = [
        (
            cell(group.name),
            *(cell(f"{value:.2f}".replace("-", MINUS), order=value) for value in (*group.meet, *group.miss)),
        )
        for group in groups
    ]
    quarters = ("a quarter below", "median", "a quarter above")
    return Figure(
        name=f"apart-{slug(limit.name)}",
        title=f"How cars that miss “{limit.name}” differ from the rest",
        alternative=(f"Two bars an input. Cars that miss the limit have {told}.",),
        caption=(
            f"Cars that miss it have {told}. The medians of the first named lie {abs(first.shift):.1f} "
            f"standard deviations apart. Bars: the middle half of {count(found.cars - found.missing)} cars "
            f"that meet it and {count(found.missing)} that miss it.",
        ),
        draw=lambda: groups_apart(groups),
        wide=False,
        numbers=Table(
            f"apart-{slug(limit.name)}",
            "Standard deviations from the median of all cars.",
            (
                Column("Input"),
                *(Column(f"Meet: {words}", number=True) for words in quarters),
                *(Column(f"Miss: {words}", number=True) for words in quarters),
            ),
            tuple(rows),
            small=True,
        ),
    )


def _together(report: Report, found: MissedTogether) -> Figure:
    """Draw, for the cars that miss one limit, what share of them misses each other one."""
    order = {limit.name: place for place, limit in enumerate(by_severity(report.summary))}
    shown = sorted(range(len(found.limits)), key=lambda i: order.get(found.limits[i], len(order)))[:_MOST]
    numbers = {i: str(place) for place, i in enumerate(shown, start=1)}
    parts = [
        (f"{numbers[i]}  {found.limits[i]}", numbers[j], found.counts[i][j] / found.counts[i][i])
        for i in shown
        for j in shown
    ]
    first, other = max(
        ((i, j) for i in shown for j in shown if i != j),
        key=lambda pair: _more(found, *pair),
    )
    finding = (
        f"Of the cars that miss “{found.limits[first]}”, "
        f"{chance(found.counts[first][other] / found.counts[first][first])} miss "
        f"“{found.limits[other]}” too; "
        f"of all cars {chance(found.counts[other][other] / found.cars)} do. "
    )
    return Figure(
        name="missed-together",
        title="Which limits the same cars miss",
        alternative=(f"A matrix of limits by limits, in per cent. {finding}",),
        caption=(
            finding,
            "Each row takes the cars that miss its limit and says what per cent of them miss each other one.",
        ),
        draw=lambda: part_matrix(parts, cell=46),
        numbers=_counts(found, shown),
    )


def _more(found: MissedTogether, first: int, other: int) -> float:
    """Say how much more of the cars that miss one limit miss another than of all cars."""
    both, one, all_of_other = (
        found.counts[first][other],
        found.counts[first][first],
        found.counts[other][other],
    )
    return both / one - all_of_other / found.cars


def _counts(found: MissedTogether, shown: Sequence[int]) -> Table:
    return Table(
        "missed-together",
        f"Cars of {count(found.cars)} that miss both limits; on the diagonal those that miss one.",
        (Column("Limit"), *(Column(found.limits[i], number=True) for i in shown)),
        tuple(
            (
                cell(found.limits[i]),
                *(cell(count(found.counts[i][j]), order=found.counts[i][j]) for j in shown),
            )
            for i in shown
        ),
        small=True,
    )


def _two_cars(report: Report, found: NearestCar) -> tuple[Figure, ...]:
    """Lay the median car and the likeliest one on the other side of the limit over each other."""
    if not (can_draw(found.median) and can_draw(found.values)):
        return ()
    limit = next(one for one in report.summary.limits if one.name == found.limit)
    other = "misses" if found.median_meets else "meets"
    names = {one.key: report.input_name(one.key) for one in found.differences[:_WRITTEN]}
    values: Spoken = ()
    for one in found.differences[:_WRITTEN]:
        record = report.inputs[one.key]
        values = (
            *values,
            "; " if values else "",
            f"{names[one.key]} ",
            amount(one.value, record, spread=record.sd / 10),
            " in place of ",
            amount(one.median, record, spread=record.sd / 10),
        )
    reached = tuple(
        amount(car.get(limit.quantity), limit, spread=report.output(limit).sd / 10)
        for car in (found.median, found.values)
    )
    finding: Spoken = (
        f"The median car {'meets' if found.median_meets else 'misses'} “{limit.name}”; the likeliest car "
        f"that {other} it lies {found.distance:.1f} standard deviations off ({report.quantity(limit)} ",
        reached[1],
        " in place of ",
        reached[0],
        "): ",
        *values,
        ".",
    )

    def drawn(system: System) -> str:
        written = [
            (record.quantity, f"{names[one.key]} {_both(one.value, one.median, record, system)}")
            for one in found.differences[:_WRITTEN]
            for record in (report.inputs[one.key],)
        ]
        return two_cars(
            found.median,
            found.values,
            report.summary.families.get("point", ()),
            written,
            (f"median car, {'meets' if found.median_meets else 'misses'} the limit", f"car that {other} it"),
            system=system,
            display=report.summary.display,
            factor=exaggeration([found.median, found.values]),
        )

    return (
        Figure(
            name="two-cars",
            title=f"The likeliest car that {other} “{limit.name}”, {report.condition(found.condition)}",
            alternative=("Two side views laid over each other. ", *finding),
            caption=finding,
            drawings=tuple(map(drawn, SYSTEMS)),
        ),
    )


def _both(value: float, median: float, record: InputRecord, system: System) -> str:
    spread = record.sd / 10
    return (
        f"{amount(value, record, spread=spread).text(system)} "
        f"({amount(median, record, spread=spread).text(system)})"
    )
