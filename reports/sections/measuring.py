"""Which measurement to make first, what each is worth, and what no measurement can settle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import accumulate

from explorer.estimators.measuring import Expected, Outcome, Worth
from explorer.estimators.measuring_plan import Alone, MeasuringPlan, Outlook, Step
from explorer.results.records import Summary
from reports.blocks import (
    Block,
    Cell,
    Column,
    Figure,
    Heading,
    Line,
    Paragraph,
    Quiet,
    Section,
    Strong,
    Table,
    cell,
)
from reports.charts_of_measuring import STANDINGS, Rise, Spot, Standing, value_against_hours
from reports.formatting import chance, hours, listed, share, uncertain
from reports.options import SYSTEMS
from reports.report import Report, sentence
from reports.text_chart import hours_chart

# An effect within so many standard errors of nought is none that shows.
_TELLING = 2.0
WRONG_CALL = (
    "A wrong call is to take the car as good when it is not, or to turn it down when it is. What is not "
    "known well enough leads to wrong calls; a measurement is worth the wrong calls it avoids."
)
ON_THE_LINE = (
    "on the line: its probability lies so close to the required one that the run cannot tell the side"
)


def build(report: Report) -> Section | None:
    """Print the plan: the sentence, the table, the chart, then the order."""
    plan = report.summary.measuring
    if plan is None:
        return None
    blocks: list[Block] = [Paragraph((Strong(sentence(headline(plan))),), lead=True)]
    blocks.append(Paragraph((WRONG_CALL,)))
    if plan.alone:
        blocks += [_alone_table(plan), _figure(plan)]
    if plan.steps:
        blocks += [Heading("In this order"), _steps(plan)]
    if plan.outlooks:
        blocks += [Heading("What measuring can settle"), _outlooks(plan, report.summary)]
    return Section("measuring", "What to measure first", tuple(blocks))


def headline(plan: MeasuringPlan) -> str:
    """Say in one sentence what to measure first and what it brings."""
    if not plan.steps:
        open_limits = [f"“{outlook.limit}”" for outlook in plan.outlooks if outlook.now.settled < 1]
        if not open_limits:
            return "no measurement is needed: every limit is settled as it stands"
        return (
            f"no measurement within {hours(plan.budget_hours)} would change a call "
            f"on {listed(open_limits)}: change the design or allow more hours"
        )
    step = plan.steps[0]
    limit, (before, after) = _most_helped(step)
    words = (
        f"measure the {step.label} first: {hours(step.hours)} takes the chance of a wrong call on “{limit}” "
        f"from {chance(before.wrong_call.value)} to {chance(after.wrong_call.value)}"
    )
    if step.tied_with:
        labels = _labels(plan)
        words += f" (the {listed(labels[name] for name in step.tied_with)} would do as well)"
    return words


def _labels(plan: MeasuringPlan) -> dict[str, str]:
    return {one.measurement: one.label for one in plan.alone}


def _numbers(plan: MeasuringPlan) -> dict[str, int]:
    """Give each measurement its number, the most useful one first."""
    return {one.measurement: place for place, one in enumerate(plan.alone, start=1)}


def _most_helped(step: Step) -> tuple[str, tuple[Outcome, Outcome]]:
    """Return the limit on which a step avoids most wrong calls, before and after."""
    return max(
        step.limits.items(), key=lambda item: item[1][0].wrong_call.value - item[1][1].wrong_call.value
    )


def _in_money(plan: MeasuringPlan) -> bool:
    return plan.unit == "cost"


def _factor(plan: MeasuringPlan) -> float:
    """Money is written as it is, wrong calls of a hundred cars."""
    return 1.0 if _in_money(plan) else 100.0


def _unit(plan: MeasuringPlan) -> str:
    return "money saved, on average" if _in_money(plan) else "wrong calls avoided in 100 cars"


def _tells(gain: Expected) -> bool:
    return gain.value > _TELLING * gain.error


def _gain_words(plan: MeasuringPlan, gain: Expected) -> str:
    """Write a gain with two standard errors."""
    return uncertain(_factor(plan) * gain.value, _factor(plan) * _TELLING * gain.error)


def _ties(plan: MeasuringPlan, one: Alone) -> list[int]:
    """Return the numbers of those whose gain shows and cannot be told from this one's."""
    numbers = _numbers(plan)
    return sorted(
        numbers[other.measurement]
        for other in plan.alone
        if other.measurement in one.tied_with and _tells(other.gain)
    )


def _standing(plan: MeasuringPlan, one: Alone) -> Standing:
    if not _tells(one.gain):
        return "no change that shows"
    return "tied with another" if _ties(plan, one) else "stands out"


def _alone_table(plan: MeasuringPlan) -> Table:
    best = best_of_each(plan)
    return Table(
        "measuring-alone",
        "Each measurement alone, the most useful first. Settled: afterwards known to hold, or not to "
        "hold, as surely as was asked.",
        (
            Column("No.", number=True, width=8),
            Column("Measure", width=26),
            Column("Takes", number=True, width=12),
            Column(sentence(_unit(plan))[:-1], number=True, width=16),
            Column("Chance of a wrong call, where it helps most", width=26),
            Column("Settled then", number=True, width=12),
        ),
        tuple(
            _alone_row(plan, place, one, best[one.measurement])
            for place, one in enumerate(plan.alone, start=1)
        ),
        small=True,
    )


def _alone_row(plan: MeasuringPlan, place: int, one: Alone, worth: Worth) -> tuple[Cell, ...]:
    tied: tuple[Quiet, ...] = ()
    if _standing(plan, one) == "tied with another":
        tied = (Quiet(f" tied with {listed(f'no. {number}' for number in _ties(plan, one))}"),)
    head = (
        cell(str(place), order=place),
        cell(f"the {one.label}", *tied),
        cell(hours(one.hours), order=one.hours),
    )
    if not _tells(one.gain):
        return (*head, cell(Quiet("no change that shows"), order=0.0), cell(""), cell("", order=-1.0))
    return (
        *head,
        cell(_gain_words(plan, one.gain), order=-one.gain.value),
        cell(
            f"{_chance(worth.before)} to {_chance(worth.after)}",
            Quiet(f" {worth.limit}"),
            order=-worth.wrong_calls_avoided.value,
        ),
        cell(chance(worth.after.settled), order=worth.after.settled),
    )


def _figure(plan: MeasuringPlan) -> Figure:
    numbers, factor = _numbers(plan), _factor(plan)
    spots = [
        Spot(
            numbers[one.measurement],
            one.label,
            one.hours,
            factor * one.gain.value,
            factor * (one.gain.value - _TELLING * one.gain.error),
            factor * (one.gain.value + _TELLING * one.gain.error),
            _standing(plan, one),
        )
        for one in plan.alone
    ]
    rises = _rises(plan)
    told = "; ".join(
        f"{spot.number}, the {spot.name}: {hours(spot.hours)}, {spot.value:.2g}, {spot.standing}"
        for spot in spots
    )
    return Figure(
        name="measuring-worth",
        title="What each measurement brings, against the hours it takes",
        alternative=f"Points, {_unit(plan)} against hours. {told}. {_order_words(plan)}",
        caption=_figure_caption(plan),
        draw=lambda: (
            (value_against_hours(spots, rises, budget=plan.budget_hours, axis=_unit(plan)),) * len(SYSTEMS)
        ),
        signs=_signs(plan, spots, rises),
    )


def _signs(plan: MeasuringPlan, spots: Sequence[Spot], rises: Sequence[Rise]) -> tuple[str, ...]:
    """Draw what shows; nothing where nothing does."""
    shown = [(str(one.number), one.hours, one.value) for one in spots if one.standing != STANDINGS[-1]]
    steps = [(rise.hours, rise.value) for rise in rises]
    return tuple(hours_chart(shown, steps, most_hours=plan.budget_hours)) if shown else ()


def _figure_caption(plan: MeasuringPlan) -> Line:
    first = plan.alone[0]
    words = (
        "Numbers are those of the table; bars reach two standard errors up and down, so that the true "
        "value lies inside nineteen times in twenty. "
    )
    if not _tells(first.gain):
        return (words, "None of them, alone, makes a difference that shows.")
    return (
        Strong(f"1, the {first.label},"),
        f" takes {hours(first.hours)} and brings {_gain_words(plan, first.gain)} "
        f"({_unit(plan)}). {_order_words(plan)} {words}",
    )


def _order_words(plan: MeasuringPlan) -> str:
    if not plan.steps:
        return "No order of measurements brings anything that shows."
    rises = _rises(plan)
    order = ", then ".join(str(rise.number) for rise in rises)
    return (
        f"The dashed steps add up the best order within {hours(plan.budget_hours)}: {order}; in all "
        f"{rises[-1].value:.2g} after {hours(rises[-1].hours)}."
    )


def _rises(plan: MeasuringPlan) -> list[Rise]:
    numbers, factor = _numbers(plan), _factor(plan)
    so_far = accumulate(step.gain.value for step in plan.steps)
    return [
        Rise(numbers[step.measurement], step.hours_so_far, factor * value)
        for step, value in zip(plan.steps, so_far, strict=True)
    ]


def _steps(plan: MeasuringPlan) -> Table:
    spent = any(step.cost for step in plan.steps)
    columns = [
        Column("Turn", number=True, width=10),
        Column("Measure", width=34),
        Column("Takes", number=True, width=12),
        Column("So far", number=True, width=12),
    ]
    columns += [Column("Cost so far", number=True, width=12)] if spent else []
    columns.append(Column("Chance of a wrong call", width=20 if spent else 30))
    numbers, labels = _numbers(plan), _labels(plan)
    rows = []
    for turn, step in enumerate(plan.steps, start=1):
        limit, (before, after) = _most_helped(step)
        tied = listed(labels[name] for name in step.tied_with) if step.tied_with else ""
        row = [
            cell(str(turn), order=turn),
            cell(
                f"the {step.label}, no. {numbers[step.measurement]}",
                *((Quiet(f" as good in this turn: {tied}"),) if tied else ()),
            ),
            cell(hours(step.hours), order=step.hours),
            cell(hours(step.hours_so_far), order=step.hours_so_far),
        ]
        row += [cell(f"{step.cost_so_far:g}", order=step.cost_so_far)] if spent else []
        rows.append((*row, cell(f"{_chance(before)} to {_chance(after)}", Quiet(f" {limit}"))))
    return Table(
        "measuring-plan",
        f"The best use of {hours(plan.budget_hours)}: each measurement weighed with those before it "
        "known, on the limit where it helps most.",
        tuple(columns),
        tuple(rows),
        sortable=False,
    )


def _chance(outcome: Outcome) -> str:
    """Write the chance of a wrong call."""
    value, error = outcome.wrong_call.value, outcome.wrong_call.error
    return share(value, max(0.0, value - _TELLING * error), min(1.0, value + _TELLING * error))


def best_of_each(plan: MeasuringPlan) -> Mapping[str, Worth]:
    """Return each measurement on the limit where it avoids most wrong calls."""
    best: dict[str, Worth] = {}
    for worth in plan.worths:
        held = best.get(worth.measurement)
        if held is None or worth.wrong_calls_avoided.value > held.wrong_calls_avoided.value:
            best[worth.measurement] = worth
    return best


def _outlooks(plan: MeasuringPlan, summary: Summary) -> Table:
    undecided = {one.name for one in summary.limits if one.conformance.verdict == "undecided"}
    return Table(
        "measuring-outlook",
        "Each limit: the chance of a wrong call now and after the measurements above, and what measuring "
        "can do for it.",
        (
            Column("Limit", width=30),
            Column("Now", number=True, width=12),
            Column("Afterwards", number=True, width=12),
            Column("What measuring can do", width=34),
            Column("Design", width=12),
        ),
        tuple(
            (
                cell(outlook.limit),
                cell(_chance(outlook.now), order=outlook.now.wrong_call.value),
                cell(_chance(outlook.planned), order=outlook.planned.wrong_call.value),
                cell(sentence(outlook_words(plan, outlook, outlook.limit in undecided))),
                cell(Strong("must change") if outlook.design_must_change else Quiet("may stay")),
            )
            for outlook in plan.outlooks
        ),
        small=True,
    )


def outlook_words(plan: MeasuringPlan, outlook: Outlook, undecided: bool = False) -> str:
    """Say what measuring can do for a limit.

    One whose verdict is open is not called settled, on whichever side its probability happens to lie.
    """
    if undecided and outlook.prospect in ("holds", "broken"):
        return ON_THE_LINE
    labels, settles = _labels(plan), chance(outlook.best.settled)
    measured = listed(labels[name] for name in outlook.best_set) if outlook.best_set else ""
    if outlook.prospect == "holds":
        return "settled as it stands: it holds"
    if outlook.prospect == "broken":
        return "settled as it stands: it does not hold, and measuring will not mend it; change the design"
    if outlook.prospect == "the plan":
        return f"the plan settles it with a chance of {chance(outlook.planned.settled)}"
    if outlook.prospect == "another set":
        return f"the plan leaves it open; measuring the {measured} would settle it with a chance of {settles}"
    words = f"even the best use of {hours(plan.budget_hours)} is unlikely to settle it"
    if measured and outlook.best.settled > 0:
        words += f" ({measured}: a chance of {settles})"
    if outlook.prospect == "more hours":
        return (
            f"{words}; all measurements listed, together, would with a chance of "
            f"{chance(outlook.everything)}: allow more hours or change the design"
        )
    return (
        f"{words}, nor would all measurements listed, together: change the design, or list a measurement "
        "of what drives it"
    )
