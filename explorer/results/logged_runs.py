"""What logs say of a study: predictions held against logged runs, and inputs that fits have replaced.

SI units throughout; ``display_unit`` and its like are those the builder uses.
"""

from __future__ import annotations

from dataclasses import dataclass

from explorer.files.reading import Source

# An input that lies more spreads off is no longer believed at all, so it explains no run: 1 car in 16 000.
FURTHEST = 4.0


@dataclass(frozen=True)
class Departure:
    """A stretch of a run outside its band: from, to, on which side, and how far beyond the edge."""

    start: float
    end: float
    side: str
    furthest: float


@dataclass(frozen=True)
class Explanation:
    """One input that would explain a run, if it were other than believed.

    Attributes
    ----------
    input:
        Its key.
    believed, moved_to:
        Nominal value, and the one at which the run is explained.
    spreads:
        The move in standard deviations of the belief (normal scores where that is not a normal).
    odds:
        How often the belief has it that far off, on either side.
    """

    input: str
    unit: str
    display_unit: str
    believed: float
    moved_to: float
    spreads: float
    odds: float


@dataclass(frozen=True, kw_only=True)
class RunJudged:
    """How a logged run lies in its predicted band.

    Attributes
    ----------
    explains:
        The verdict.
    rows, outside_range:
        Rows compared, and rows left out because nothing was predicted there.
    share, coverage:
        Probability of the band, and the share of rows that lie in it.
    expected_low, expected_high:
        Between these the coverage of a run of the predicted kind lies, with 95 % probability.
    effective_rows:
        How many independent rows the run is worth.
    bias, bias_in_spreads:
        Mean of logged minus predicted median, and the same in predicted standard deviations.
    noise:
        Scatter of the logger that was added to the band.
    chance:
        How often a run of the predicted kind would lie as badly as this one.
    stretches:
        Where the run leaves the band, the longest first.
    notes:
        What weakens it, in words that hold no unit.
    """

    explains: bool
    rows: int
    outside_range: int
    share: float
    coverage: float
    expected_low: float
    expected_high: float
    effective_rows: float
    bias: float
    bias_in_spreads: float
    noise: float
    chance: float
    stretches: tuple[Departure, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class LoggedRunRecord(RunJudged):
    """A logged run held against its prediction.

    Attributes
    ----------
    name, title:
        Its name in the study, and what the study calls it.
    quantity, summary, unit, display_unit:
        What was predicted and logged.
    along, along_unit, along_display_unit:
        What it is laid along: speed, time or distance.
    condition, condition_words:
        How the study says the car was run.
    explained_by:
        Inputs any of which would explain it alone, the likeliest first; empty where the study explains it.
    samples, unanswered:
        Cars it was held against, and those of them without an answer.
    at, logged, lower, median, upper:
        For a chart, rising along ``at``, thinned to a few hundred points.
    """

    name: str
    title: str
    quantity: str
    summary: str
    unit: str
    display_unit: str
    along: str
    along_unit: str
    along_display_unit: str
    condition: str
    condition_words: str
    log: Source
    explained_by: tuple[Explanation, ...]
    samples: int
    unanswered: int
    at: tuple[float, ...]
    logged: tuple[float, ...]
    lower: tuple[float, ...]
    median: tuple[float, ...]
    upper: tuple[float, ...]


@dataclass(frozen=True)
class Belief:
    """What is held of an input: mean, standard deviation, and where they come from."""

    mean: float
    sd: float
    source: str | None


@dataclass(frozen=True)
class ReplacedInput:
    """An input that a file of a fit gives, before and after.

    Attributes
    ----------
    before:
        None where nothing gave it.
    moved_by:
        Shift over the standard deviation before; None without one.
    narrowed_to:
        Standard deviation after over that before.
    """

    quantity: str
    unit: str
    display_unit: str
    before: Belief | None
    after: Belief
    moved_by: float | None
    narrowed_to: float | None


@dataclass(frozen=True)
class FittedFile:
    """A file that the study includes: its inputs, and whether it still is as the fit has written it."""

    file: str
    inputs: tuple[ReplacedInput, ...]
    as_written: bool
