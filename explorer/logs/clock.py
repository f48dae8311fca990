"""Times as loggers write them: clock times, dates, ISO stamps, epochs; several runs in one file told apart.

A time is counted from its first row where the logger counts from midnight or from 1970.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from explorer.errors import TableError
from explorer.graph.arrays import Array, Mask

DAY = 86400.0
# Seconds since 1970 in 1973: no run lasts that long, so a count that begins beyond it is an epoch.
EPOCH = 1e8
# The same in the year 5138: milliseconds taken for seconds.
BEYOND = 1e11
# Rows that must rise again below what was reached, until a clock that fell back has started anew.
RISING = 5
# Units that only a time column may have: text or digits of a clock.
H_MIN_S, H_MIN, MIN_S, DIGITS = CLOCK_UNITS = ("h:min:s", "h:min", "min:s", "hhmmss")

_CLOCK = re.compile(
    r"\s*(?:(?P<year>\d{4})[-/.](?P<month>\d{1,2})[-/.](?P<day>\d{1,2})"
    r"|(?P<first>\d{1,2})(?P<mark>[-/.])(?P<second>\d{1,2})[-/.](?P<last>\d{4}|\d{2}))?[T ,]*"
    r"(?P<one>\d+):(?P<two>\d{1,2})(?::(?P<three>\d{1,2}))?(?:[.,](?P<fraction>\d+))?\s*"
    r"(?P<half>[AaPp])?(?:\.?[Mm]\.?)?\s*(?P<zone>Z|UTC|GMT|[+-]\d{2}:?\d{2})?\s*"
)


@dataclass(frozen=True)
class ClockForm:
    """How a column of clock times is written: what two numbers mean, and the order of day and month."""

    kind: str = H_MIN_S
    day_first: bool = True
    dated: bool = False


def clock_form(cells: Sequence[str], unit: str, file: str) -> ClockForm | None:
    """Find out how the times of a column are written; None where they are plain numbers.

    Raises
    ------
    TableError
        When two numbers with a colon could be hours and minutes as well as minutes and seconds.
    """
    if unit == DIGITS:
        return ClockForm(DIGITS)
    found = [match for cell in cells if (match := _CLOCK.fullmatch(cell))]
    if not found or 2 * len(found) < len([cell for cell in cells if cell]):
        return None
    kind = unit if unit in CLOCK_UNITS else _kind(found, file)
    dated = any(match["year"] or match["last"] for match in found)
    return ClockForm(kind, _day_first(found), dated)


def _kind(found: list[re.Match[str]], file: str) -> str:
    if any(match["three"] for match in found):
        return H_MIN_S
    if any(match["fraction"] or int(match["one"]) > 23 for match in found):
        return MIN_S
    if any(match["half"] or match["year"] or match["last"] for match in found):
        return H_MIN
    raise TableError(
        "these times may be hours and minutes, or minutes and seconds",
        file=file,
        key="columns.time",
        found=found[0].group().strip(),
        allowed=", ".join(CLOCK_UNITS),
        remedy=f'say which: unit = "{MIN_S}" or unit = "{H_MIN}"',
    )


def _day_first(found: list[re.Match[str]]) -> bool:
    """Tell the order of day and month: by what can be no month, else the one that spans fewer days."""
    pairs = {(int(match["first"]), int(match["second"]), match["mark"]) for match in found if match["last"]}
    if any(second > 12 for _, second, _ in pairs):
        return False
    if not pairs or any(first > 12 or mark == "." for first, _, mark in pairs):
        return True
    days = [31 * second + first for first, second, _ in pairs]
    months = [31 * first + second for first, second, _ in pairs]
    return max(days) - min(days) <= max(months) - min(months)


def clock_seconds(cells: Any, form: ClockForm) -> tuple[Array, set[str]]:
    """Turn a column of texts (a pandas Series) into seconds, NaN where there is no time, and its zones."""
    import pandas as pd

    if form.kind == DIGITS:
        count = pd.to_numeric(cells, errors="coerce").to_numpy(float)
        return count // 10000 * 3600 + count // 100 % 100 * 60 + count % 100, set()
    parts = cells.str.extract(f"^{_CLOCK.pattern}$")
    numbers = {name: pd.to_numeric(parts[name]).to_numpy(float) for name in ("one", "two", "three")}
    fraction = pd.to_numeric("0." + parts["fraction"].fillna("0")).to_numpy(float)
    one, two, three = numbers["one"], numbers["two"], np.nan_to_num(numbers["three"])
    half = parts["half"].str.lower()
    one = np.where(half.notna(), one % 12 + 12 * (half == "p"), one)
    if form.kind == MIN_S:
        seconds = np.where(np.isnan(numbers["three"]), one * 60 + two, one * 3600 + two * 60 + three)
    else:
        seconds = one * 3600 + two * 60 + three
    return seconds + fraction + _days(parts, form) * DAY - _zone_seconds(parts["zone"]), set(
        parts["zone"].dropna()
    )


def _days(parts: Any, form: ClockForm) -> Array:
    import pandas as pd

    if not form.dated:
        return np.zeros(len(parts))
    day, month = ("first", "second") if form.day_first else ("second", "first")
    last = parts["last"].where(parts["last"].str.len() != 2, "20" + parts["last"])
    date = pd.DataFrame(
        {
            "year": parts["year"].fillna(last),
            "month": parts["month"].fillna(parts[month]),
            "day": parts["day"].fillna(parts[day]),
        }
    ).apply(pd.to_numeric)
    stamps = pd.to_datetime(date, errors="coerce")
    days: Array = ((stamps - pd.Timestamp(0)) / pd.Timedelta(days=1)).to_numpy(float)
    return days


def _zone_seconds(zone: Any) -> Array:
    import pandas as pd

    digits = zone.str.replace(":", "").str.extract(r"^([+-])(\d{2})(\d{2})$")
    away = pd.to_numeric(digits[1]).to_numpy(float) * 3600 + pd.to_numeric(digits[2]).to_numpy(float) * 60
    seconds: Array = np.nan_to_num(away) * np.where(digits[0] == "-", -1.0, 1.0)
    return seconds


@dataclass
class RunningClock:
    """Follows the time of a log from chunk to chunk: past midnight, from its first row, run after run.

    Attributes
    ----------
    form:
        How the column is written, where it is clock times; None for plain numbers.
    part:
        The run of the file that is wanted, where its clock starts again.
    """

    form: ClockForm | None
    part: int | None
    zones: set[str] = field(default_factory=set)
    origin: float | None = None
    midnights: int = 0
    restarts: list[int] = field(default_factory=list)
    _last: float = -np.inf
    _latest: float = -np.inf
    _rows: int = 0

    def counted(self, time: Array, file: str) -> Array:
        """Return times past midnight as later ones, and counted from the first where that is not zero."""
        finite = np.isfinite(time)
        if self.form is not None and not self.form.dated and finite.any():
            seen = np.concatenate(
                [[self._last if np.isfinite(self._last) else time[finite][0]], time[finite]]
            )
            passed = self.midnights + np.cumsum(np.diff(seen) < -DAY / 2)
            self._last, self.midnights = float(seen[-1]), int(passed[-1])
            time = time.copy()
            time[finite] += passed * DAY
        if self.origin is None and finite.any():
            first = float(time[finite][0])
            _check_size(first, file)
            clock = self.form is not None and self.form.kind != MIN_S
            self.origin = first if clock or first > EPOCH else 0.0
        return time - (self.origin or 0.0)

    def judge(self, time: Array, usable: Mask) -> tuple[Mask, Mask, Mask]:
        """Say which usable rows run backwards, which stand still, and which are of another run."""
        backwards, standing, other = (np.zeros(len(time), bool) for _ in range(3))
        rows = np.flatnonzero(usable)
        begin = 0
        while begin < len(rows):
            clock = time[rows[begin:]]
            before = np.maximum.accumulate(np.concatenate([[self._latest], clock]))[:-1]
            start = _restart(clock, before)
            end = len(clock) if start is None else start
            stretch = rows[begin : begin + end]
            backwards[stretch] = clock[:end] < before[:end]
            standing[stretch] = clock[:end] == before[:end]
            if self.part is not None and self.part != len(self.restarts) + 1:
                other[stretch] = True
            self._latest = max(self._latest, float(clock[:end].max(initial=-np.inf)))
            if start is not None:
                self.restarts.append(self._rows + int(rows[begin + start]) + 1)
                self._latest = -np.inf
            begin += end
        self._rows += len(time)
        return backwards & ~other, standing & ~other, other

    def check(self, file: str) -> None:
        """Raise TableError when the file holds several runs and none, or one that is not there, is named."""
        runs = len(self.restarts) + 1
        if (self.part or 1) <= runs and (runs == 1 or self.part):
            return
        at = ", ".join(str(row) for row in self.restarts[:5]) + (", ..." if runs > 6 else "")
        raise TableError(
            "the time runs backwards: the file holds several runs"
            if runs > 1
            else "the clock of the log does not start again",
            file=file,
            key="part" if self.part else "columns.time",
            found=f"the clock starts again in row {at}" if runs > 1 else f"part = {self.part}",
            allowed=f"part = 1 to {runs}" if runs > 1 else "a part where the clock starts again",
            remedy="say beside the file which run to read: part = 1" if runs > 1 else "leave out part",
        )

    def notes(self) -> Iterator[str]:
        """Say what the times were counted from, their zones, and what was passed over."""
        if self.origin and self.form is not None and not self.form.dated:
            yield f"time counted from its first row, {_clock_words(self.origin)}"
        elif self.origin:
            zone = " UTC" if self.zones or self.form is None else ""
            yield f"time counted from its first row, {_stamp_words(self.origin)}{zone}"
        if self.zones - {"Z", "UTC", "GMT"}:
            zones = " and ".join(sorted(self.zones))
            yield f"times carry the zone {zones}; reckoned in UTC"
        if self.midnights:
            yield "the clock passed midnight"
        if self.part:
            yield f"part {self.part} of {len(self.restarts) + 1}: the clock starts again in between"

    @property
    def date(self) -> str | None:
        """Day of the first row, where the times say it."""
        absolute = self.form.dated if self.form is not None else (self.origin or 0.0) > EPOCH
        return _stamp_words(self.origin)[:10] if absolute and self.origin else None


def _restart(clock: Array, before: Array) -> int | None:
    """Return where a clock falls back and rises again from there, which no single glitch does."""
    for start in np.flatnonzero(clock < before):
        rows = clock[start : start + RISING]
        if len(rows) == RISING and (np.diff(rows) > 0).all() and rows[-1] < before[start]:
            return int(start)
    return None


def _check_size(first: float, file: str) -> None:
    if first > BEYOND:
        raise TableError(
            "these times lie thousands of years ahead",
            file=file,
            key="columns.time.unit",
            found=f"{first:.4g} s since 1970 in the first row",
            remedy='a count since 1970 is mostly in milliseconds: unit = "ms" (or "us")',
        )


def looks_like_digits(time: Array) -> bool:
    """Tell whether plain numbers read as hhmmss: never 60 or more in two places, over more than a minute."""
    count = time[np.isfinite(time)]
    if len(count) < 3 or count.min() < 1e4 or count.max() >= 240000 or np.ptp(count) < 100:
        return False
    return bool(((count % 100 < 60) & (count // 100 % 100 < 60)).all())


def _clock_words(seconds: float) -> str:
    return f"{int(seconds // 3600):02d}:{int(seconds // 60 % 60):02d}:{seconds % 60:05.2f}".removesuffix(
        ".00"
    )


def _stamp_words(seconds: float) -> str:
    # The first stamp the calendar holds lies far before any logger.
    moment = datetime.datetime.fromtimestamp(seconds, tz=datetime.UTC)
    return f"{moment:%Y-%m-%d %H:%M:%S}"
