"""Which measurement to make first, what each is worth, and what no measurement can settle."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate

from explorer.estimators.measuring import SIGNIFICANT, Expected, LimitState, Worth
from explorer.estimators.measuring_outlook import (
    LIKELY,
    SELDOM,
    Alone,
    MeasuringPlan,
    NextMeasurement,
    Outlook,
)
from explorer.graph.written import chance, listed, percent
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
from reports.charts_of_measuring import (
    STANDINGS,
    GainStanding,
    Measured,
    Rise,
    before_and_after,
    value_against_hours,
)
from reports.findings import leading_inputs
from reports.formatting import every, hours, share, uncertain, unread_words
from reports.report import Report, sentence
from reports.text_chart import hours_chart

WRONG = (
    "A limit passes where the probability that it is met reaches the required one. Passing a car that does "
    "not meet it counts p/(1 - p) times as much as turning down one that does, 99 times where 99 % is "
    "required: those are the losses that make the required p the right threshold. A measurement is worth "
    "the loss it saves."
)
SURELY = " Where a limit asks “sure”, p is how sure, and a good car meets it in as many of its runs as asked."
LOSS_SAVED = "loss saved, in good cars rejected per 100"
_CARS = 100.0
# Inputs named that nothing reads, and the least chance of judging a limit wrongly that is drawn.
_NAMED = 3
_DRAWN = 0.005


def build(report: Report) -> Section | None:
    """Print the plan: the sentence, the chart, the order, and what it does for each limit."""
    plan = report.summary.measuring
    if plan is None:
        return None
    blocks: list[Block] = [Paragraph((Strong(sentence(headline(plan))),), lead=True)]
    told = (_from_where(report.summary), unread_words(unread_names(report), _NAMED))
    blocks += [Paragraph((sentence(words),)) for words in told if words]
    # Points that all lie at nothing are no picture; the appendix lists them.
    if plan.steps or any(_significant(one.gain) for one in plan.alone):
        blocks.append(_figure(plan))
    if plan.steps:
        blocks += [Heading("In this order"), _steps(plan)]
    if plan.outlooks:
        blocks += [Heading("What measuring can decide"), *_before_and_after(plan)]
        blocks += _outlooks(plan, report.summary)
    return Section("measuring", "What to measure first", tuple(blocks))


def build_alone(report: Report) -> Section | None:
    """List what each measurement brings alone, and how that is counted, to be looked up."""
    plan = report.summary.measuring
    if plan is None or not plan.alone:
        return None
    surely = SURELY if any(one.runs is not None for one in plan.outlooks) else ""
    blocks = (Paragraph((WRONG + surely,)), _alone_table(plan))
    return Section("measured_alone", "Each measurement alone", blocks, appendix=True)


def _from_where(summary: Summary) -> str:
    """Say which measurements are the catalogue's, and which of those were not worth a closer look."""
    known, plan = summary.from_catalogue, summary.measuring
    if not known or plan is None:
        return ""
    weighed = [one.label for one in plan.alone if one.measurement in known]
    all_of_them = len(weighed) == len(plan.alone)
    words = "the study lists no measurements, so " if all_of_them else ""
    words += f"these are home methods of the catalogue, their hours and errors judged: {listed(weighed)}"
    left = sorted(set(known.values()) - set(weighed))
    return f"{words}; rough estimates promised less from {listed(left)}" if left else words


def by_catalogue(summary: Summary) -> bool:
    """Tell whether what is to be measured first is a way of the catalogue."""
    plan = summary.measuring
    return plan is not None and bool(plan.steps) and plan.steps[0].measurement in summary.from_catalogue


def unread_names(report: Report) -> list[str]:
    """Name the inputs that no measurement reads, the most influential first."""
    summary = report.summary
    order = {key: place for place, key in enumerate(leading_inputs(summary, len(summary.inputs)))}
    unread = sorted(summary.unread, key=lambda key: order.get(key, len(order)))
    return [report.input_name(key) for key in unread]


def headline(plan: MeasuringPlan) -> str:
    """Say in one sentence what to measure first, and what it does to the verdict that it saves most on."""
    if not plan.steps:
        failing = [f"“{outlook.limit}”" for outlook in plan.outlooks if outlook.design_must_change]
        if not failing:
            return "no measurement is needed: none listed would save anything on any verdict"
        longer = any(outlook.everything >= LIKELY for outlook in plan.outlooks if outlook.design_must_change)
        which = f"{listed(failing)} {'passes' if len(failing) == 1 else 'pass'}"
        if 1 < len(failing) == len(plan.outlooks):
            which = f"any of the {len(failing)} limits passes"
        return (
            f"no measurement within {hours(plan.budget_hours)} is likely to show that {which}"
            f"{': allow more hours' if longer else ''}"
        )
    step, made = plan.steps[0], plan.steps[:1]
    limit, before, after = _most_helped(made)
    words = f"measure the {step.label} first: it takes {hours(step.hours)}"
    if len(plan.steps) > 1 and after.loss.value >= before.loss.value:
        # The first of several may bring nothing until the others are made.
        made = plan.steps
        limit, before, after = _most_helped(made)
        together = listed(f"the {one.label}" for one in made)
        words = f"measure {together}: together they take {hours(plan.hours)}"
    words += what_it_does(f"“{limit}”", _required(plan, limit), before, after)
    if step.tied_with and len(made) == 1:
        labels = _labels(plan)
        words += f" (the {listed(labels[name] for name in step.tied_with)} would do as well)"
    return words


def worth_words(plan: MeasuringPlan, worth: Worth) -> str:
    """Say what one measurement, made meanwhile, does to the verdict of one limit."""
    label = _labels(plan).get(worth.measurement, worth.measurement)
    does = what_it_does(f"“{worth.limit}”", _required(plan, worth.limit), worth.before, worth.after)
    return f"meanwhile measure the {label}, which takes {hours(worth.hours)}{does}"


def _required(plan: MeasuringPlan, limit: str) -> str:
    return asked_words(*next((one.required, one.runs) for one in plan.outlooks if one.limit == limit))


def asked_words(threshold: float, runs: float | None) -> str:
    """Say what a verdict asks: of all cars and days in one, or of a car's runs and how surely."""
    return percent(threshold) if runs is None else f"{percent(runs)} of runs, {percent(threshold)} sure,"


def what_it_does(limit: str, required: str, before: LimitState, after: LimitState) -> str:
    """Say what a measurement does to one verdict, the threshold beside it, after how long it takes."""
    needed = f"({required} required)"
    if turns := _turns_it(limit, before, after):
        return f", with {turns} {needed}"
    return f"; it {_lowers(f'{limit} wrongly {needed}', before, after)}"


def what_it_does_beside(before: LimitState, after: LimitState) -> str:
    """Say what a measurement does to a limit whose verdict and threshold stand beside it."""
    turns = _turns_it("the limit", before, after)
    return f"has {turns}" if turns else _lowers("the limit wrongly", before, after)


def _turns_it(limit: str, before: LimitState, after: LimitState) -> str:
    passes = before.passes.value == 1
    turns = 1 - after.passes.value if passes else after.passes.value
    then = "fails" if passes else "passes"
    return f"a chance of {chance(turns)} of showing that {limit} {then}" if turns >= SELDOM else ""


def _lowers(wrongly: str, before: LimitState, after: LimitState) -> str:
    was, then = chance(before.wrong), chance(after.wrong)
    if was == then:
        return f"leaves the chance of judging {wrongly} at {then}, and will not decide it"
    return f"lowers the chance of judging {wrongly} from {was} to {then}, and will not decide it"


def _labels(plan: MeasuringPlan) -> dict[str, str]:
    return {one.measurement: one.label for one in plan.alone}


def _numbers(plan: MeasuringPlan) -> dict[str, int]:
    """Give each measurement its number, the most useful one first."""
    return {one.measurement: place for place, one in enumerate(plan.alone, start=1)}


def _most_helped(steps: Sequence[NextMeasurement]) -> tuple[str, LimitState, LimitState]:
    """Return the limit on which some steps save most together, before them and after."""
    states = ((limit, before, steps[-1].limits[limit][1]) for limit, (before, _) in steps[0].limits.items())
    return max(states, key=lambda one: one[1].loss.value - one[2].loss.value)


def _significant(gain: Expected) -> bool:
    return gain.value > SIGNIFICANT * gain.error


def _gain_words(gain: Expected) -> str:
    """Write a gain with two standard errors."""
    return uncertain(_CARS * gain.value, _CARS * SIGNIFICANT * gain.error)


def _ties(plan: MeasuringPlan, one: Alone) -> list[int]:
    """Return the numbers of those whose gain shows and cannot be told from this one's."""
    numbers = _numbers(plan)
    return sorted(
        numbers[other.measurement]
        for other in plan.alone
        if other.measurement in one.tied_with and _significant(other.gain)
    )


def _standing(plan: MeasuringPlan, one: Alone) -> GainStanding:
    if not _significant(one.gain):
        return "no clear gain"
    return "tied with another" if _ties(plan, one) else "stands out"


def _alone_table(plan: MeasuringPlan) -> Table:
    best = best_of_each(plan)
    return Table(
        "measuring-alone",
        "Each measurement alone, the most useful first, and the limit that it saves most on.",
        (
            Column("No.", number=True, width=8),
            Column("Measure", width=24),
            Column("Takes", number=True, width=18),
            Column(sentence(LOSS_SAVED)[:-1], number=True, width=16),
            Column("Limit, and chance that it passes", width=24),
            Column("Verdict changes", number=True, width=10),
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
    if not _significant(one.gain):
        return (*head, cell(Quiet("no clear gain"), order=0.0), cell(""), cell("", order=-1.0))
    return (
        *head,
        cell(_gain_words(one.gain), order=-one.gain.value),
        cell(
            f"{_now_and_then(worth.before, worth.after)}",
            Quiet(f" {worth.limit}"),
            order=-worth.loss_saved.value,
        ),
        cell(chance(worth.turns.value), order=worth.turns.value),
    )


def _figure(plan: MeasuringPlan) -> Figure:
    numbers = _numbers(plan)
    spots = [
        Measured(
            numbers[one.measurement],
            one.label,
            one.hours,
            _CARS * one.gain.value,
            _CARS * (one.gain.value - SIGNIFICANT * one.gain.error),
            _CARS * (one.gain.value + SIGNIFICANT * one.gain.error),
            _standing(plan, one),
        )
        for one in plan.alone
    ]
    rises = _rises(plan)
    told = "; ".join(
        f"{spot.number}, the {spot.name}: {hours(spot.hours)}, {_gain_words(one.gain)}, {spot.standing}"
        for spot, one in zip(spots, plan.alone, strict=True)
    )
    return Figure(
        name="measuring-worth",
        title="What each measurement brings, against the hours it takes",
        alternative=(f"Points, {LOSS_SAVED} against hours. {told}. {_order_words(plan)}",),
        caption=_figure_caption(plan),
        draw=lambda: value_against_hours(spots, rises, budget=plan.budget_hours, axis=LOSS_SAVED),
        signs=_signs(plan, spots, rises),
    )


def _signs(plan: MeasuringPlan, spots: Sequence[Measured], rises: Sequence[Rise]) -> tuple[Line, ...]:
    """Draw what shows; nothing where nothing does."""
    shown = [(str(one.number), one.hours, one.value) for one in spots if one.standing != STANDINGS[-1]]
    steps = [(rise.hours, rise.value) for rise in rises]
    lines = hours_chart(shown, steps, most_hours=plan.budget_hours) if shown else ()
    return tuple((line,) for line in lines)


def _figure_caption(plan: MeasuringPlan) -> Line:
    numbers = _numbers(plan)
    first = next((one for one in plan.alone if _significant(one.gain)), None)
    words = (
        "A good car rejected counts one, a bad car passed counts p/(1 - p): 99 where 99 % is "
        "required. Bars: 95 % intervals. "
    )
    if first is None:
        return (f"{_order_words(plan)} {words}", "None of them, alone, makes a difference that shows.")
    return (
        Strong(f"{numbers[first.measurement]}, the {first.label},"),
        f" takes {hours(first.hours)} and brings {_gain_words(first.gain)} "
        f"({LOSS_SAVED}). {_order_words(plan)} {words}",
    )


def _order_words(plan: MeasuringPlan) -> str:
    if not plan.steps:
        return "No order of measurements brings anything that shows."
    rises = _rises(plan)
    order = ", then ".join(str(rise.number) for rise in rises)
    return (
        f"The dashed steps add up the best order within {hours(plan.budget_hours)}: {order}; in all "
        f"{_gain_words(plan.gain)} after {hours(rises[-1].hours)}."
    )


def _rises(plan: MeasuringPlan) -> list[Rise]:
    numbers = _numbers(plan)
    so_far = accumulate(step.gain.value for step in plan.steps)
    return [
        Rise(numbers[step.measurement], step.hours_so_far, _CARS * value)
        for step, value in zip(plan.steps, so_far, strict=True)
    ]


def _steps(plan: MeasuringPlan) -> Table:
    spent = any(step.cost for step in plan.steps)
    columns = [
        Column("Step", number=True, width=8),
        Column("Measure", width=30),
        Column("Takes", number=True, width=18),
        Column("So far", number=True, width=14),
    ]
    columns += [Column("Cost so far", number=True, width=12)] if spent else []
    columns.append(Column("Limit, and chance that it passes", width=18 if spent else 30))
    numbers, labels = _numbers(plan), _labels(plan)
    rows = []
    for turn, step in enumerate(plan.steps, start=1):
        limit, before, after = _most_helped([step])
        if after.loss.value >= before.loss.value:
            limit, _, _ = _most_helped(plan.steps)
            before, after = step.limits[limit]
        tied = listed(labels[name] for name in step.tied_with) if step.tied_with else ""
        row = [
            cell(str(turn), order=turn),
            cell(
                f"the {step.label}, no. {numbers[step.measurement]}",
                *((Quiet(f" as good at this step: {tied}"),) if tied else ()),
            ),
            cell(hours(step.hours), order=step.hours),
            cell(hours(step.hours_so_far), order=step.hours_so_far),
        ]
        row += [cell(f"{step.cost_so_far:g}", order=step.cost_so_far)] if spent else []
        rows.append((*row, cell(_now_and_then(before, after), Quiet(f" {limit}"))))
    return Table(
        "measuring-plan",
        f"The best use of {hours(plan.budget_hours)}: each measurement counted with those before it "
        "done, on the limit where it helps most.",
        tuple(columns),
        tuple(rows),
        sortable=False,
    )


def _now_and_then(before: LimitState, after: LimitState) -> str:
    """Write the verdict as it stands, and the chance that the limit passes once it is measured."""
    stands = "passes" if before.passes.value == 1 else "fails"
    return f"{stands} before; {_passes(after)} chance to pass after"


def _passes(outcome: LimitState) -> str:
    value, error = outcome.passes.value, outcome.passes.error
    return share(value, max(0.0, value - SIGNIFICANT * error), min(1.0, value + SIGNIFICANT * error))


def best_of_each(plan: MeasuringPlan) -> Mapping[str, Worth]:
    """Return each measurement on the limit where it saves most."""
    best: dict[str, Worth] = {}
    for worth in plan.worths:
        held = best.get(worth.measurement)
        if held is None or worth.loss_saved.value > held.loss_saved.value:
            best[worth.measurement] = worth
    return best


def _before_and_after(plan: MeasuringPlan) -> list[Block]:
    """Draw how often each limit is judged wrongly before and after the plan; nothing where it has no step."""
    rows = [
        (one.limit, _CARS * one.now.wrong, _CARS * one.planned.wrong)
        for one in plan.outlooks
        if max(one.now.wrong, one.planned.wrong) >= _DRAWN
    ]
    if not (rows and plan.steps):
        return []
    most, before, after = max(rows, key=lambda row: row[1] - row[2])
    was, then = chance(before / _CARS), chance(after / _CARS)
    finding = f"The measurements above lower the chance of judging “{most}” wrongly "
    finding += f"{'most, ' if len(rows) > 1 else ''}from {was} to {then}. "
    if was == then or after > before:
        finding = "The measurements above lower no chance of judging a limit wrongly by as much as shows. "
    if any(planned - now >= _CARS * _DRAWN for _, now, planned in rows):
        finding += "Where one rises they save the dearer mistake, to pass a car that misses the limit. "
    return [
        Figure(
            name="before-after",
            title="How often each limit would be judged wrongly, before and after measuring",
            alternative=(f"A row a limit, hollow before and full after. {finding}",),
            caption=(
                finding,
                "Wrongly: a pass of a car that misses the limit, or a fail of one that meets it.",
            ),
            draw=lambda: before_and_after(rows),
            numbers=Table(
                "before-after",
                "Chance of judging the limit wrongly.",
                (Column("Limit"), Column("Before measuring", number=True), Column("After", number=True)),
                tuple(
                    (cell(limit), *(cell(chance(v / _CARS), order=v) for v in both)) for limit, *both in rows
                ),
                small=True,
            ),
        )
    ]


def _outlooks(plan: MeasuringPlan, summary: Summary) -> Iterator[Block]:
    """Tabulate the limits for which measuring may change something, and count the others."""
    told = [one for one in plan.outlooks if not one.passes_now or _turns(one) >= SELDOM]
    if told:
        yield _outlook_table(plan, summary, told)
    left = len(plan.outlooks) - len(told)
    if left:
        others = "other " if told else ""
        pass_ = f"{left if told else every(left)} {others}limit{' passes' if left == 1 else 's pass'}"
        if len(plan.outlooks) == 1:
            pass_ = "The limit passes"
        yield Paragraph((f"{pass_}, and measuring would hardly ever change that.",))


def _turns(outlook: Outlook) -> float:
    """Return the chance that a limit which passes now does not once the plan is carried out."""
    return 1 - outlook.planned.passes.value


def _outlook_table(plan: MeasuringPlan, summary: Summary, told: Sequence[Outlook]) -> Table:
    undecided = {one.name for one in summary.limits if one.conformance.verdict == "undecided"}
    return Table(
        "measuring-outlook",
        "Each limit: where it stands as known so far, the chance that it passes after "
        "the measurements above, and what measuring can do for it.",
        (
            Column("Limit", width=30),
            Column("Required", number=True, width=10),
            Column("Before", width=10),
            Column("Passes after", number=True, width=12),
            Column("What measuring can do", width=38),
        ),
        tuple(
            (
                cell(outlook.limit),
                cell(asked_words(outlook.required, outlook.runs).removesuffix(","), order=outlook.required),
                cell(
                    "passes" if outlook.passes_now else "fails",
                    *((Quiet(" undecided yet"),) if outlook.limit in undecided else ()),
                    order=outlook.now.passes.value,
                ),
                cell(_passes(outlook.planned), order=outlook.planned.passes.value),
                cell(sentence(outlook_words(plan, outlook))),
            )
            for outlook in told
        ),
        small=True,
    )


def outlook_words(plan: MeasuringPlan, outlook: Outlook) -> str:
    """Say what the plan can do for a limit, and for one that fails what more would show that it passes."""
    turns = _turns(outlook)
    if outlook.passes_now:
        if turns < SELDOM:
            return "passes, and the plan would hardly ever change that"
        return f"passes as known so far; the plan has a chance of {chance(turns)} of showing that it fails"
    if outlook.fails_clearly:
        return "fails clearly; measuring cannot change that"
    labels = _labels(plan)
    alone = f"{hours(plan.budget_hours)} spent on this limit alone"
    ways = (
        ("the plan", 1 - turns),
        (f"{alone} ({listed(labels[name] for name in outlook.best_set)})", outlook.best.passes.value),
        ("all that is listed together", outlook.everything),
    )
    told, most = [], 0.0
    for way, reached in ways:
        if reached >= most + SELDOM:
            told.append(f"{chance(reached)} by {way}")
            most = reached
    return f"fails as known so far; the chance to show that it passes: {', '.join(told)}"
