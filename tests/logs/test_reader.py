"""Logs as loggers and spreadsheets write them, and every way they can be unusable."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest

from explorer.errors import TableError, UnitError
from explorer.logs import reader as logs
from explorer.logs.reader import read_log
from tests.synthetic import write_log

COLUMNS = {"time": {"column": "t", "unit": "s"}, "speed": {"column": "v", "unit": "km/h"}}


def written(folder: Path, text: str | bytes) -> Path:
    path = folder / "run.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def test_reads_columns_into_si_units(tmp_path: Path) -> None:
    path = written(tmp_path, "v,other,t\n36,x,0\n72,y,1000\n")
    columns = {"time": {"column": "t", "unit": "ms"}, "speed": {"column": "v", "unit": "km/h"}}
    log = read_log(path, columns, date="2026-05-01")
    assert log["time"] == pytest.approx([0.0, 1.0])
    assert log["speed"] == pytest.approx([10.0, 20.0])
    assert (log.rows, log.rows_read, log.dropped, log.stride) == (2, 2, {}, 1)
    assert log.source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert log.source.text == f"log run.csv, 2026-05-01, sha256 {log.source.sha256[:12]}"


def test_units_with_an_offset_are_converted(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, "T\n20\n-10\n"), {"air_temperature": {"column": "T", "unit": "degC"}})
    assert log["air_temperature"] == pytest.approx([293.15, 263.15])


def test_a_log_may_count_pitch_nose_down(tmp_path: Path) -> None:
    """ISO 8855 counts pitch positive nose-down; nothing else may be turned."""
    path = written(tmp_path, "p,q\n2,2\n-1,-1\n")
    pitch = {"column": "p", "unit": "deg", "positive": "nose_down"}
    other = {"column": "q", "unit": "deg", "positive": "nose_up"}
    assert np.rad2deg(read_log(path, {"pitch": pitch})["pitch"]) == pytest.approx([-2.0, 1.0])
    assert np.rad2deg(read_log(path, {"pitch": other})["pitch"]) == pytest.approx([2.0, -1.0])
    with pytest.raises(TableError, match="pitch"):
        read_log(path, {"angle": other})


@pytest.mark.parametrize(
    "data",
    [
        b"\xef\xbb\xbft,v\n0,36\n1,72\n",
        "t,v\n0,36\n1,72\n".encode("utf-16"),
        b"t;v\n0,0;36,0\n1,0;72,0\n",
        b"t\tv\n0\t36\n1\t72\n",
        "Messger\xe4t 3\nt,v\n0,36\n1,72\n".encode("cp1252"),
        b"Logger 7, firmware 2.1\n\n# date: 2026-04-30\nt , v\n 0 , 36\n 1 , 72\n",
        b"t,v\r\n0,36\r\n1,72\r\n",
        b'"t","v"\n"0","36"\n"1","72"\n',
    ],
    ids=[
        "byte-order mark",
        "UTF-16",
        "decimal comma",
        "tabs",
        "old encoding",
        "preamble",
        "Windows lines",
        "quoted",
    ],
)
def test_ways_of_writing_the_same_log(tmp_path: Path, data: bytes) -> None:
    log = read_log(written(tmp_path, data), COLUMNS)
    assert log["time"] == pytest.approx([0.0, 1.0])
    assert log["speed"] == pytest.approx([10.0, 20.0])


def test_date_comes_from_the_file_when_it_says_so(tmp_path: Path) -> None:
    assert read_log(written(tmp_path, "# date: 2026-04-30\nt,v\n0,1\n"), COLUMNS).source.date == "2026-04-30"
    assert read_log(written(tmp_path, "t,v\n0,1\n"), COLUMNS).source.date.startswith("file of 20")


def test_every_unusable_row_is_counted_once_with_its_reason(tmp_path: Path) -> None:
    rows = ["0,1", "1,", "2,fast", "3,inf", "4,1,9", "5,2", "4.5,2", "5,2", "6,3", ",x", "7 s,3"]
    rows += ["8,1", "9,1"]
    log = read_log(written(tmp_path, "t,v\n" + "\n".join(rows) + "\n"), COLUMNS)
    assert log["time"] == pytest.approx([0.0, 5.0, 6.0, 8.0, 9.0])
    assert log.dropped == {
        logs.EXTRA: 1,
        logs.TEXT: 3,
        logs.EMPTY: 1,
        logs.INFINITE: 1,
        logs.BACKWARDS: 1,
        logs.STANDING: 1,
    }
    assert log.rows + sum(log.dropped.values()) == log.rows_read
    assert any("left out: text where a number should stand" in note for note in log.notes)


@pytest.mark.parametrize(
    "preamble",
    [
        "Logger 7\x0c firmware 2.1\n",
        "Logger 7\x0b\x0b\x0b\n",
        "Logger 7\u2028\u2028 firmware\x85\x1c2.1\n",
        '"Logger 7\nfirmware 2.1"\n',
        '"Logger 7\n\n\nfirmware 2.1",x\n',
        'wheels of 5" and 6\n',
        "Logger 7\r",
        "x" * 200_000 + "\n",
        "",
    ],
    ids=["form feed", "vertical tab", "other breaks", "quoted", "quoted twice", "inch", "CR", "long", "none"],
)
def test_no_row_at_the_head_is_lost_to_what_stands_above_it(preamble: str, tmp_path: Path) -> None:
    text = preamble + "t,v\n" + "".join(f"{t},36\n" for t in range(8))
    log = read_log(written(tmp_path, text), COLUMNS)
    assert log["time"] == pytest.approx(range(8))
    assert (log.rows_read, log.dropped) == (8, {})


def test_a_first_row_with_far_too_many_cells_is_counted_and_moves_no_other(tmp_path: Path) -> None:
    many = ",".join("7" * 30)
    log = read_log(written(tmp_path, f"t,v\n{many}\n1,36\n2,72\n"), COLUMNS)
    assert log["time"] == pytest.approx([1.0, 2.0])
    assert log.dropped == {logs.EXTRA: 1}


@pytest.mark.parametrize("answers", [("True", "False"), ("True", ""), ("TRUE", "x")])
def test_yes_and_no_are_no_numbers(answers: tuple[str, str], tmp_path: Path) -> None:
    rows = "".join(f"{t},{answers[t % 2]}\n" for t in range(4))
    with pytest.raises(TableError, match="no row of the log can be used") as caught:
        read_log(written(tmp_path, f"t,v\n{rows}"), COLUMNS)
    assert f"'{answers[0].title()}'" in str(caught.value.found).title()


def test_a_gap_is_said(tmp_path: Path) -> None:
    times = [*np.arange(0, 2, 0.1), *np.arange(5, 6, 0.1)]
    log = read_log(written(tmp_path, "t,v\n" + "".join(f"{t:.1f},1\n" for t in times)), COLUMNS)
    assert any("1 dropout, the longest 3.1 s" in note for note in log.notes)


def test_a_long_log_is_thinned_evenly_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logs, "CHUNK_ROWS", 1000)
    rows = 50_000
    bad = {17, 18, 4000}
    path = written(tmp_path, "t,v\n" + "".join(f"{i},{'x' if i in bad else i % 7}\n" for i in range(rows)))
    log = read_log(path, COLUMNS, most_rows=900)
    good = np.array([i for i in range(rows) if i not in bad], float)
    assert log.stride == 64
    assert log["time"] == pytest.approx(good[::64])
    assert log.rows <= 900
    assert log.rows_read == rows
    assert log.dropped == {logs.TEXT: 3}
    assert any("thinned to" in note and "every 64th kept" in note for note in log.notes)


def test_a_synthetic_log_is_known_as_one(tmp_path: Path) -> None:
    path = tmp_path / "made.csv"
    values = {"time": np.array([0.0, 0.5, 1.0]), "speed": np.array([30.0, np.nan, 28.0])}
    columns = write_log(
        path, values, {"time": "s", "speed": "km/h"}, truth={"mass": 6.0}, seed=3, date="2026-02-03"
    )
    log = read_log(path, columns)
    assert log.source.synthetic
    assert log.source.text.startswith("synthetic log (made, not measured) made.csv, 2026-02-03")
    assert log["speed"] == pytest.approx([30.0, 28.0])
    assert log.dropped == {logs.EMPTY: 1}
    assert path.read_text().startswith("# synthetic log")


@pytest.mark.parametrize(
    ("text", "columns", "problem", "found"),
    [
        ("", COLUMNS, "the log is empty", None),
        ("t,speed\n0,1\n", COLUMNS, "no column 'v'", "t, speed"),
        ("t,v,v\n0,1,1\n", COLUMNS, "2 columns called 'v'", None),
        (
            "t,v\n0,1\n",
            {"time": {"column": "t", "unit": "s"}, "speed": {"column": "v"}},
            "the unit of the column is missing",
            None,
        ),
        ("t,v\n", COLUMNS, "no row of the log can be used", "no rows below the header"),
        ("t,v\n0,slow\n1,fast\n", COLUMNS, "no row of the log can be used", "'slow' in column 'v'"),
        ("t,v\n3,1\n2,1\n1,1\n0,1\n", COLUMNS, "the time runs backwards", "3 of 4 rows"),
        (
            "t,v\n" + "".join(f"{t},1\n" for t in (*range(9), *range(9))),
            COLUMNS,
            "the time runs backwards",
            None,
        ),
    ],
)
def test_unusable_logs_are_refused_in_words(
    tmp_path: Path, text: str, columns: dict[str, dict[str, str]], problem: str, found: str | None
) -> None:
    with pytest.raises(TableError) as caught:
        read_log(written(tmp_path, text), columns)
    assert problem in caught.value.problem
    assert caught.value.file == "run.csv"
    assert found is None or found in str(caught.value.found)
    assert caught.value.remedy or caught.value.allowed


def test_a_unit_of_another_kind_is_refused(tmp_path: Path) -> None:
    columns = {"time": {"column": "t", "unit": "s"}, "speed": {"column": "v", "unit": "kg"}}
    with pytest.raises(UnitError) as caught:
        read_log(written(tmp_path, "t,v\n0,1\n"), columns)
    assert caught.value.file == "run.csv"
    assert caught.value.key == "columns.speed"


def test_a_missing_file_and_a_missing_quantity_are_refused(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="no such file"):
        read_log(tmp_path / "none.csv", COLUMNS)
    with pytest.raises(TableError, match="without 'pitch'"):
        read_log(written(tmp_path, "t,v\n0,1\n"), COLUMNS)["pitch"]


def test_a_quote_left_open_is_refused(tmp_path: Path) -> None:
    with pytest.raises(TableError, match=r"told apart|no row"):
        read_log(written(tmp_path, 't,v\n"0,1\n1,2\n'), COLUMNS)


def test_marks_that_contradict_each_other_are_shown_whatever_they_group(tmp_path: Path) -> None:
    """A cell of grouped digits shows a decimal comma without holding one."""
    file = tmp_path / "log.csv"
    rows = "".join(f"{place},{place}.5\n" for place in range(1, 9))
    file.write_text(f"t [s];v [m/s]\n{rows}".replace(",", ";") + "9;1.234.567.\n")
    columns = {"time": {"column": "t [s]", "unit": "s"}, "speed": {"column": "v [m/s]", "unit": "m/s"}}
    with pytest.raises(TableError, match="cannot be told"):
        read_log(file, columns)


def test_a_name_that_no_column_has_is_told_those_of_the_header_whatever_parts_them(tmp_path: Path) -> None:
    path = written(tmp_path, "Zeit;Last [g];Weg [mm]\n10:15:00,20;0,0;-0,02\n10:15:10,20;500,0;0,51\n")
    with pytest.raises(TableError) as caught:
        read_log(path, {"load": {"column": "Gewicht", "unit": "gf"}})
    assert caught.value.found == "Zeit, Last [g], Weg [mm]"
    assert caught.value.remedy == "write one of these, as it stands there"
    log = read_log(path, {"load": {"column": "Last [g]", "unit": "gf"}})
    assert log["load"] == pytest.approx([0, 0.5 * 9.80665])
