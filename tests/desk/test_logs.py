"""A log dropped on the desk: kept, columns proposed, fitted, shown, taken over, nothing done unasked."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from explorer import load_study
from explorer.logs.layout import glimpse_of
from tests.desk_help import Served, serving, small_study

# As a spreadsheet in another language saves it: semicolons, decimal commas, a note above.
WEIGHED = """# date: 2026-05-02
front load [g];rear load [g];note
2361,5;2638,0;first
2359,0;2641,5;second
2362,0;2639,5;third
2360,5;2640,0;fourth
""".encode("cp1252")
MAPPED = {
    "file": "weighed.csv",
    "kind": "scales",
    "name": "scales",
    "column.front_load": "front load [g]",
    "column.rear_load": "rear load [g]",
    "unit.front_load": "g",
    "unit.rear_load": "g",
}


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with serving(small_study(tmp_path)) as desk:
        yield desk


def test_from_a_dropped_log_to_inputs_of_the_study(served: Served, tmp_path: Path) -> None:
    before = (tmp_path / "study.toml").read_text()
    status, _, headers = served.drop("weighed.csv", WEIGHED)
    assert status == 303
    assert headers["location"].endswith("at=logs&log=weighed.csv")
    assert (tmp_path / "logs" / "weighed.csv").read_bytes() == WEIGHED

    _, text, _ = served.ask("?at=logs&log=weighed.csv&kind=scales")
    assert '<td class="number">2361,5</td>' in text
    for side in ("front", "rear"):
        assert f'<option value="{side} load [g]" selected>' in text
        assert f'name="unit.{side}_load" value="g"' in text

    assert served.ask("map", form=MAPPED)[0] == 303
    _, text, _ = served.ask("?at=logs")
    assert "Found from the log alone" in text
    assert "rings are what was logged" in text
    assert "Take it over" in text
    assert not (tmp_path / "fitted").exists()

    assert served.ask("take", form={"name": "scales"})[0] == 303
    mass = served.desk._bench.study.inputs["mass"].distribution
    assert mass.mean == pytest.approx(5.0, abs=0.005)
    # Nothing is in the study file until it is saved; then its comments are still there.
    assert (tmp_path / "study.toml").read_text() == before
    served.desk._bench.save(served.desk._bench.seen())
    saved = (tmp_path / "study.toml").read_text()
    assert "# kept by hand" in saved
    assert "# scales" in saved
    assert load_study(tmp_path).inputs["mass"].distribution.mean == mass.mean


def test_a_wrong_unit_is_told_at_the_fit_and_can_be_undone(served: Served) -> None:
    served.drop("weighed.csv", WEIGHED)
    before = served.desk._bench.text
    status, text, _ = served.ask("map", form=MAPPED | {"unit.rear_load": "mm"})
    assert status == 422
    assert "fits.scales.columns.rear_load" in text
    served.desk._bench.undo()
    assert served.desk._bench.text == before


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"name": "../scales"}, "this cannot be a name"),
        ({"file": "../study.toml"}, "this is no log of the study"),
        ({"kind": "a_guess"}, "this is no log of the study"),
        ({"further": "nothing", "kind": "scales"}, "there is no such fit"),
    ],
)
def test_what_cannot_be_mapped_changes_nothing(served: Served, changed: dict[str, str], told: str) -> None:
    served.drop("weighed.csv", WEIGHED)
    before = served.desk._bench.text
    status, text, _ = served.ask("map", form=MAPPED | changed)
    assert status == 422
    assert told in text
    assert served.desk._bench.text == before


def test_further_runs_stand_in_one_fit(served: Served, tmp_path: Path) -> None:
    rows = "\n".join(f"{t / 5},{100 * math.exp(-t / 80):.2f}" for t in range(60))
    form = {
        "kind": "coast_down",
        "name": "rolling",
        "column.time": "t [s]",
        "column.speed": "v [km/h]",
        "unit.time": "s",
        "unit.speed": "km/h",
        "run.direction": "1",
        "run.flap": "closed",
    }
    for name, own in (("there.csv", {}), ("back.csv", {"further": "rolling", "run.direction": "-1"})):
        served.drop(name, f"t [s],v [km/h]\n{rows}\n".encode())
        # The small study has no air to fit it with: that is told, and the section stays to be completed.
        served.ask("map", form=form | {"file": name} | own)
    entry = served.desk._bench.study.entries.fits["rolling"]
    assert [(run.file, run.direction, run.flap) for run in entry.runs] == [
        ("logs/there.csv", 1, "closed"),
        ("logs/back.csv", -1, "closed"),
    ]
    assert not entry.runs[1].columns
    assert entry.columns["speed"].unit == "km/h"


@pytest.mark.parametrize("name", ["log.exe", "", ".csv/..", "study.toml"])
def test_what_is_no_log_is_not_kept(served: Served, tmp_path: Path, name: str) -> None:
    assert served.drop(name, b"x")[0] in (303, 422)
    assert not (tmp_path / "logs").exists()


@pytest.mark.parametrize("name", ["../../out.csv", "..\\out.csv", "/elsewhere/out.csv", ".out.csv"])
def test_a_name_leads_nowhere_else(served: Served, tmp_path: Path, name: str) -> None:
    assert served.drop(name, WEIGHED)[0] == 303
    assert [file.name for file in (tmp_path / "logs").iterdir()] == ["out.csv"]


def test_another_log_of_the_same_name_is_not_overwritten(served: Served, tmp_path: Path) -> None:
    served.drop("weighed.csv", WEIGHED)
    assert served.drop("weighed.csv", WEIGHED)[0] == 303
    status, text, _ = served.drop("weighed.csv", b"a;b\n1;2\n")
    assert status == 422
    assert "another log of this name is there" in text
    assert (tmp_path / "logs" / "weighed.csv").read_bytes() == WEIGHED


def test_a_folder_of_logs_that_leads_away_is_not_written_to(served: Served, tmp_path: Path) -> None:
    away = tmp_path.parent / f"{tmp_path.name}-away"
    away.mkdir()
    (tmp_path / "logs").symlink_to(away)
    assert served.drop("weighed.csv", WEIGHED)[0] == 422
    assert list(away.iterdir()) == []


def test_a_program_in_a_log_stays_text(served: Served) -> None:
    script = "<script>alert(1)</script>"
    served.drop("x.csv", f"{script};b\n{script};2\n".encode())
    for kind in ("scales", "readings", "coast_down", script):
        text = served.ask(f"?at=logs&log=x.csv&kind={kind.replace('<', '%3C')}")[1]
        assert "<script>alert" not in text
        assert "&lt;script&gt;" in text


@pytest.mark.parametrize(
    ("lines", "header", "units"),
    [
        (["t,v", "0.0,1.5"], ("t", "v"), ("", "")),
        (["made by a logger", "", "t [s];v [km/h]", "0,10;3,25"], ("t [s]", "v [km/h]"), ("s", "km/h")),
        (["t\tv", "s\tm/s", "0\t1"], ("t", "v"), ("s", "m/s")),
        (["# a, b, c, d", "only"], (), ()),
        ([], (), ()),
    ],
)
def test_a_header_is_found_before_columns_are_named(
    lines: list[str], header: tuple[str, ...], units: tuple[str, ...]
) -> None:
    found = glimpse_of(lines)
    assert (found.header if len(found.header) > 1 else (), found.units if len(found.units) > 1 else ()) == (
        header,
        units,
    )


def test_columns_are_proposed_by_unit_where_no_name_is_alike() -> None:
    found = glimpse_of(["Last [N];Weg [mm];Zeit [s]", "0;0;0"])
    assert [found.likeliest(*one) for one in (("load", "N"), ("deflection", "m"), ("angle", "rad"))] == [
        0,
        1,
        None,
    ]
