"""What every section is given: the results, the reader's choices, and names put into words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from explorer.graph.labels import input_label, label
from explorer.graph.words import FIGURES, Number, Sentence, Words, in_unit
from explorer.results.records import InputRecord, LimitRecord, OutputRecord, Summary
from explorer.results.stored import Results
from explorer.study.builds import Override
from explorer.study.limits import Output
from explorer.study.throttle import WORDS, with_throttle
from reports.blocks import Block, Bullets, Line
from reports.formatting import Amount, InUnits, Units, amount, speed_amount
from reports.naming import named_in_full
from reports.options import ReportOptions

NO_UNITS = Units("", "")
NO_CLEARANCE = "A pass is a prediction from the inputs given here. It is never a clearance to run."


@dataclass(frozen=True)
class Report:
    """One report in the making."""

    results: Results
    options: ReportOptions = field(default_factory=ReportOptions)

    @cached_property
    def summary(self) -> Summary:
        """Everything the run found, each limit named with the throttle that its verdict is for."""
        return named_in_full(self.results.summary)

    @cached_property
    def _words(self) -> dict[str, str]:
        return {
            condition.name: with_throttle(
                condition.words or in_words(condition.name),
                "" if condition.throttle == "holding" else WORDS[condition.throttle],
            )
            for condition in self.summary.conditions
        }

    @cached_property
    def _spreads(self) -> dict[tuple[str, str], float]:
        outputs = (output for output in self.summary.outputs if not output.is_difference)
        return {(output.quantity, output.condition): output.sd for output in outputs}

    @cached_property
    def inputs(self) -> dict[str, InputRecord]:
        """Inputs by key."""
        return {record.key: record for record in self.summary.inputs}

    @cached_property
    def si_units(self) -> dict[str, str]:
        """SI unit by quantity."""
        return {entry.name: entry.unit for entry in self.summary.handbook}

    def condition(self, name: str) -> str:
        """Say how the car is being run."""
        return self._words.get(name, in_words(name))

    def swept(self, name: str, along: str, throttle: str = "") -> str:
        """Say a condition without the quantity that a chart runs along, and how the car is driven in it."""
        words = self.condition(name)
        for record in self.summary.conditions:
            for one in record.overrides if record.name == name else ():
                if one.quantity == along:
                    value = in_unit(one.words, one.display_unit)
                    words = words.replace(value.removeprefix("exactly "), "")
        parts = (part.strip().removesuffix(" at") for part in words.split(","))
        said = ", ".join(part for part in parts if part) or self.condition(name)
        return with_throttle(said, throttle)

    def apart_from(self, quantity: str, name: str) -> frozenset[tuple[str, Words]]:
        """Return what a condition sets, one quantity left out: alike for conditions on one curve along it."""
        record = next(one for one in self.summary.conditions if one.name == name)
        sets = {(one.quantity, one.words) for one in record.overrides if one.quantity != quantity}
        return frozenset({("throttle", (record.throttle,)), *sets})

    def where(self, output: OutputRecord | LimitRecord) -> str:
        """Say in which condition, or between which two, and how the car is driven where that decides.

        A limit's name says that already.
        """
        found = self.output(output) if isinstance(output, LimitRecord) else output
        words = " minus ".join(
            self.condition(name) if found.at_speed else self.swept(name, "speed") for _, name in output.pairs
        )
        return words if isinstance(output, LimitRecord) else with_throttle(words, output.throttle)

    def quantity(self, output: Output) -> str:
        """Name what is looked at: a quantity, or how far it differs between two conditions."""
        words = label(output.quantity)
        return f"difference in {words}" if output.is_difference else words

    def input_name(self, key: str) -> str:
        """Name an input, or a group of correlated ones, in words."""
        return input_label(key, self._words)

    def output(self, limit: LimitRecord) -> OutputRecord:
        """Return the distribution a limit is about."""
        return self.summary.outputs[limit.output]

    @property
    def limit_names(self) -> frozenset[str]:
        """Names of all limits."""
        return frozenset(limit.name for limit in self.summary.limits)

    @property
    def speed_unit(self) -> str:
        """Unit in which the builder speaks of speeds."""
        return self.summary.display.get("speed", "m/s")

    def speed(self, value: float) -> Amount:
        """Write a speed to a tenth."""
        return speed_amount(value, self.speed_unit)

    def value(self, condition: str, quantity: str) -> Amount:
        """Write the nominal value of a quantity in a condition."""
        si = self.summary.nominal.get(condition, {}).get(quantity)
        # Where nothing says how far it can be trusted, three figures are written.
        spread = self._spreads.get((quantity, condition), abs(si or 0.0) / 10)
        return amount(si, self.units(quantity), spread=spread)

    def units(self, quantity: str) -> Units:
        """Return the units of a quantity."""
        return Units(self.si_units.get(quantity, "1"), self.summary.display.get(quantity, ""))

    @property
    def of_speed(self) -> Units:
        """Units of speeds."""
        return Units("m/s", self.speed_unit)


def in_words(name: str) -> str:
    """Turn the name of a condition or a subject into words."""
    return name.replace("_", " ")


_KEY = re.compile(r"[a-z]\w*(?:_\w|[@.\[]\w)")


def sentence(text: str) -> str:
    """Start with a capital and end with a stop."""
    text = text.strip()
    if not text:
        return ""
    return _begun(text) + ("" if text[-1] in ".!?" else ".")


def noted(notes: Sequence[str]) -> list[Block]:
    """List notes as sentences; nothing where there are none."""
    return [Bullets(tuple((sentence(note),) for note in notes))] if notes else []


def _begun(text: str) -> str:
    """Begin with a capital, unless a key of the study comes first: it is written as it is."""
    return text if _KEY.match(text) else text[:1].upper() + text[1:]


def asked(limit: LimitRecord) -> Line:
    """Write what a limit asks of its quantity: "at least 5 N"."""
    return said(limit.asked, limit, difference=limit.is_difference, digits=4)


def said(words: Sentence, of: InUnits = NO_UNITS, *, difference: bool = False, digits: int = 6) -> Line:
    """Write words with their numbers, of something unless they say of what, in the units of the reader."""
    return tuple(
        amount(
            part.value,
            part if part.unit else of,
            spread=part.spread,
            difference=part.distance or difference,
            digits=FIGURES if part.unit else digits,
        )
        if isinstance(part, Number)
        else part
        for part in ((words,) if isinstance(words, str) else words)
    )


def told(words: Sentence) -> Line:
    """Write a sentence that was kept: with a capital, a stop, and its numbers in the units of the reader."""
    first, *rest = said(words)
    line = (_begun(first) if isinstance(first, str) else first, *rest)
    closed = isinstance(line[-1], str) and line[-1].endswith((".", "!", "?"))
    return line if closed else (*line, ".")


def overridden(overrides: Sequence[Override]) -> Line:
    """List what a condition or a candidate sets."""
    line: Line = ()
    for one in overrides:
        line += ("; " if line else "", f"{label(one.quantity)}: ")
        line += said(one.words, one)
    return line


def is_yes_or_no(output: OutputRecord) -> bool:
    """Tell whether a quantity is only ever 0 or 1: a share then says more than a spread."""
    values = (output.lowest, output.highest, *(value for _, value in output.quantiles))
    return output.unit == "1" and not output.is_difference and set(values) <= {0.0, 1.0}


def severity(limit: LimitRecord) -> tuple[int, int, float]:
    """Order limits by how much they stand in the way: failed before undecided, safety first, then worst."""
    rank = {"fail": 0, "undecided": 1, "pass": 2}[limit.conformance.verdict]
    return (rank, 0 if limit.safety else 1, limit.conformance.probability - limit.probability)
