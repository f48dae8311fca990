"""Logs as loggers, phones, radios and spreadsheets write them: read right, or refused with a remedy.

All of the logs are made up; no logger's own file is copied.  Every remedy is followed, and must work.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from explorer.errors import TableError
from explorer.logs import reader
from explorer.logs.named_logs import read_study_log
from explorer.logs.reader import Log, read_log
from explorer.study.schema import ColumnEntry, LogEntry
from explorer.study.study import load_study

Writer = Callable[..., Path]
Columns = dict[str, dict[str, str]]


def columns(time: str = "time", unit: str = "s", speed: str = "speed", speed_unit: str = "km/h") -> Columns:
    return {"time": {"column": time, "unit": unit}, "speed": {"column": speed, "unit": speed_unit}}


def lines(*rows: str, end: str = "\n") -> bytes:
    return (end.join(rows) + end).encode()


# Name -> what the file holds, the columns that the study names, and what is said of it.  All are three rows
# of 0.0, 0.2 and 0.4 s at 36, 72 and 108 km/h.
FORMS: dict[str, tuple[bytes, Columns, tuple[str, ...]]] = {
    "GPS logger: ISO stamps in UTC": (
        lines(
            "time,lat,lon,elevation,speed",
            "2026-11-21T10:15:03.200Z,48.1,11.5,520.1,10.0",
            "2026-11-21T10:15:03.400Z,48.1,11.5,520.2,20.0",
            "2026-11-21T10:15:03.600Z,48.1,11.5,520.2,30.0",
        ),
        columns(speed_unit="m/s"),
        ("counted from its first row, 2026-11-21 10:15:03 UTC",),
    ),
    "GPS logger: digits of a clock": (
        lines("UTC,speed", "101559.80,36", "101600.00,72", "101600.20,108"),
        columns("UTC", "hhmmss"),
        ("counted from its first row, 10:15:59.80",),
    ),
    "phone app: milliseconds since 1970": (
        lines("timestamp,speed", "1795256103200,36", "1795256103400,72", "1795256103600,108"),
        columns("timestamp", "ms"),
        ("counted from its first row, 2026-11-21",),
    ),
    "phone app: stamps with a zone that changes": (
        lines(
            "time;speed",
            "2026-10-25T02:59:59.900+02:00;36",
            "2026-10-25T02:00:00.100+01:00;72",
            "2026-10-25T02:00:00.300+01:00;108",
        ),
        columns(),
        ("zone +01:00 and +02:00; reckoned in UTC",),
    ),
    "telemetry radio: preamble, comments, tabs": (
        lines(
            "Telemetry log v3 21.11.2026",
            "# model: invented",
            "",
            "time\tRSSI\tspeed",
            "0.0\t-61\t36",
            "# lap 1",
            "0.2\t-60\t72",
            "0.4\t--\t108",
        ),
        columns(),
        (),
    ),
    "bench supply: units row below the head": (
        lines("Time,Voltage,Speed", "[s],[V],[km/h]", "0.0,12.0,36", "0.2,12.1,72", "0.4,12.1,108"),
        columns(),
        ("column 'Time' taken for 'time'",),
    ),
    "bench supply: bare units row, none in the study": (
        lines("time;speed", "ms;km/h", "0;36", "200;72", "400;108"),
        columns(unit="", speed_unit=""),
        ("unit 'ms' of time taken from the log itself",),
    ),
    "spreadsheet in German: dates and decimal commas": (
        lines(
            "Datum;Zeit;Geschwindigkeit [km/h]",
            "21.11.2026;10:15:03,20;36,0",
            "21.11.2026;10:15:03,40;72,0",
            "21.11.2026;10:15:03,60;108,0",
            end="\r\n",
        ),
        columns("Zeit", "s", "Geschwindigkeit"),
        ("'Geschwindigkeit [km/h]' taken for 'Geschwindigkeit'", "10:15:03.20"),
    ),
    "spreadsheet in English: byte-order mark, thousands": (
        "\ufeff".encode()
        + lines(
            "Time (ms),Speed (m/h),Date",
            '0,"36,000",11/21/2026',
            '200,"72,000",11/21/2026',
            '400,"108,000",11/21/2026',
            ',"950",',
            end="\r\n",
        ),
        columns("Time", "ms", "Speed", "m/h"),
        ("1 of 4 rows left out",),
    ),
    "spreadsheet with thousands and decimal commas": (
        lines("t;v", "0;36.000,0", "200;72.000,0", "400;108.000,0"),
        columns("t", "ms", "v", "m/h"),
        (),
    ),
    "mixed line ends": (
        b"time,speed\r\n0.0,36\n0.2,72\r0.4,108\r\n",
        columns(),
        (),
    ),
    "UTF-16": ("time;speed\r\n0,0;36,0\r\n0,2;72,0\r\n0,4;108,0\r\n".encode("utf-16"), columns(), ()),
    "UTF-16 without its mark": (
        "time;speed\r\n0,0;36,0\r\n0,2;72,0\r\n0,4;108,0\r\n".encode("utf-16-le"),
        columns(),
        (),
    ),
    "spaces between cells": (lines("time  speed", "0.0   36", "0.2   72", " 0.4  108"), columns(), ()),
    "clock past midnight": (
        lines("time,speed", "23:59:59.9,36", "00:00:00.1,72", "00:00:00.3,108"),
        columns(),
        ("passed midnight",),
    ),
    "date and clock in one cell, month first": (
        lines(
            "time,speed",
            "11/21/2026 11:59:59.8 AM,36",
            "11/21/2026 12:00:00.0 PM,72",
            "11/21/2026 12:00:00.2 PM,108",
        ),
        columns(),
        ("2026-11-21 11:59:59",),
    ),
    "day first, over midnight": (
        lines(
            "time,speed",
            "03/04/2026 23:59:59.9,36",
            "04/04/2026 0:00:00.1,72",
            "04/04/2026 0:00:00.3,108",
        ),
        columns(),
        ("2026-04-03 23:59:59",),
    ),
    "lap timer: minutes and seconds": (
        lines("time,speed", "00:00.0,36", "00:00.2,72", "00:00.4,108"),
        columns(),
        (),
    ),
    "one column with a comma, another with a point": (
        lines("time;speed", "0.0;36,0", "0.2;72,0", "0.4;108,0"),
        columns(),
        (),
    ),
    "names but for case, marks and unit": (
        lines("GPS Time [s],GPS_Speed (km/h),Wheel", "0.0,36,9", "0.2,72,9", "0.4,108,9"),
        columns("gps time", "s", "gps speed"),
        ("'GPS_Speed (km/h)' taken for 'gps speed'",),
    ),
    "stated where it is not to be told": (
        lines("time;speed", "0,0;36,0", "0,2;72,0", "0,4;108,0", "0,6;36.0"),
        columns(),
        ("1 of 4 rows left out: text",),
    ),
}
STATED: dict[str, dict[str, Any]] = {"stated where it is not to be told": {"decimal": ","}}


def written(folder: Path, data: bytes) -> Path:
    path = folder / "run.csv"
    path.write_bytes(data)
    return path


def is_the_run(log: Log) -> bool:
    return bool(
        np.allclose(log["time"], [0.0, 0.2, 0.4], atol=1e-6) and np.allclose(log["speed"], [10.0, 20.0, 30.0])
    )


@pytest.mark.parametrize("form", FORMS)
def test_a_log_is_read_as_it_was_meant(form: str, tmp_path: Path) -> None:
    data, named, said = FORMS[form]
    log = read_log(written(tmp_path, data), named, **STATED.get(form, {}))
    assert is_the_run(log)
    notes = "\n".join(log.notes)
    for words in said:
        assert words in notes


RUNS = lines("time,speed", *(f"{0.2 * i:.1f},{36 * (i + 1)}" for i in range(8))) + lines(
    *(f"{0.2 * i:.1f},{36 * (i + 1)}" for i in range(7))
)
# Name -> the file, the columns, words of the refusal, and what the remedy says: keys beside the file, other
# columns, or another file.
REFUSED: dict[str, tuple[bytes, Columns, str, dict[str, Any], Columns | None, bytes | None]] = {
    "the clock starts again": (RUNS, columns(), "part = 1", {"part": 2}, None, None),
    "both marks in one column": (
        lines("time;speed", "0,0;36,0", "0,2;72,0", "0,4;108,0", "0,6;36.0"),
        columns(),
        'decimal = ","',
        {"decimal": ","},
        None,
        None,
    ),
    "one comma typed among points": (
        lines("time;speed", "0.0;36.0", "0.2;72.0", "0.4;108.0", "0.6;36,0"),
        columns(),
        'decimal = "."',
        {"decimal": "."},
        None,
        None,
    ),
    "hours or minutes": (
        lines("time,speed", "00:01,36", "00:02,72", "00:03,108"),
        columns(),
        'unit = "min:s"',
        {},
        columns(unit="min:s"),
        None,
    ),
    "several columns alike": (
        lines("time,GPS speed,wheel speed", "0.0,36,9", "0.2,72,9", "0.4,108,9"),
        columns(),
        'column = "GPS speed"',
        {},
        columns(speed="GPS speed"),
        None,
    ),
    "decimal commas between commas": (
        lines("time,speed", "0,0,36,0", "0,2,72,0", "0,4,108,0"),
        columns(),
        "semicolons or tabs",
        {},
        None,
        lines("time;speed", "0,0;36,0", "0,2;72,0", "0,4;108,0"),
    ),
    "milliseconds since 1970 taken for seconds": (
        lines("time,speed", "1795256103200,36", "1795256103400,72", "1795256103600,108"),
        columns(),
        'unit = "ms"',
        {},
        columns(unit="ms"),
        None,
    ),
    "a slip in the name": (
        lines("time,speeed", "0.0,36", "0.2,72", "0.4,108"),
        columns(),
        "did you mean 'speeed'?",
        {},
        columns(speed="speeed"),
        None,
    ),
    "two columns of one name": (
        lines("time,speed,speed", "0.0,36,1", "0.2,72,1", "0.4,108,1"),
        columns(),
        "rename one of them",
        {},
        None,
        lines("time,speed,other", "0.0,36,1", "0.2,72,1", "0.4,108,1"),
    ),
    "rows from the latest to the first": (
        lines("time,speed", "0.4,108", "0.2,72", "0.0,36"),
        columns(),
        "sort the rows by time",
        {},
        None,
        lines("time,speed", "0.0,36", "0.2,72", "0.4,108"),
    ),
}


@pytest.mark.parametrize("fault", REFUSED)
def test_what_cannot_be_told_is_refused_with_a_remedy_that_works(fault: str, tmp_path: Path) -> None:
    data, named, remedy, keys, better, another = REFUSED[fault]
    with pytest.raises(TableError) as caught:
        read_log(written(tmp_path, data), named)
    assert remedy in str(caught.value.remedy)
    log = read_log(written(tmp_path, another or data), better or named, **keys)
    if fault == "hours or minutes":
        assert log["time"] == pytest.approx([1.0, 2.0, 3.0])
    elif fault == "the clock starts again":
        assert log.rows == 7
        assert log.dropped == {reader.OTHER_RUN: 8}
        assert any("part 2 of 2" in note for note in log.notes)
    else:
        assert is_the_run(log)


def test_a_run_that_is_not_there(tmp_path: Path) -> None:
    path = written(tmp_path, lines("time,speed", "0.0,36", "0.2,72", "0.4,108"))
    with pytest.raises(TableError, match="does not start again") as caught:
        read_log(path, columns(), part=2)
    assert caught.value.remedy == "leave out part"
    assert is_the_run(read_log(path, columns()))


def test_digits_of_a_clock_are_not_taken_for_seconds(tmp_path: Path) -> None:
    rows = [f"{10:02d}{15 + i // 60:02d}{i % 60:02d},36" for i in range(0, 130, 10)]
    path = written(tmp_path, lines("time,speed", *rows))
    with pytest.raises(TableError, match="hhmmss") as caught:
        read_log(path, columns())
    assert 'unit = "hhmmss", or unit = "seconds"' in str(caught.value.remedy)
    assert read_log(path, columns(unit="hhmmss"))["time"] == pytest.approx(range(0, 130, 10))
    assert read_log(path, columns(unit="seconds"))["time"][0] == 101500


def test_a_unit_at_odds_with_the_log_is_told(tmp_path: Path) -> None:
    path = written(tmp_path, lines("time [s],speed [km/h]", "0.0,36", "0.2,72"))
    log = read_log(path, columns(speed_unit="m/s"))
    assert log["speed"] == pytest.approx([36.0, 72.0])
    assert any("caution: the log says 'km/h' of speed, the study 'm/s'" in note for note in log.notes)


def test_one_glitch_of_the_clock_is_no_other_run(tmp_path: Path) -> None:
    times = [0.0, 0.2, 0.4, 0.1, 0.6, 0.8, 1.0, 1.2, 1.4]
    log = read_log(written(tmp_path, lines("time,speed", *(f"{t},36" for t in times))), columns())
    assert log.dropped == {reader.BACKWARDS: 1}


def test_a_study_says_beside_the_file_how_it_is_written(small_study: Writer) -> None:
    folder = small_study()
    (folder / "run.csv").write_bytes(RUNS.replace(b",", b";").replace(b".", b","))
    entry = LogEntry.model_validate(
        {"file": "run.csv", "separator": ";", "decimal": ",", "part": 2, "between": ["0 s", "0.5 s"]}
    )
    named = {
        "time": ColumnEntry(column="time", unit="s"),
        "speed": ColumnEntry(column="speed", unit="km/h"),
    }
    log = read_study_log(load_study(folder), entry, named, "fits.mine", most_rows=100)
    assert is_the_run(log)
