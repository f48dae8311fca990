"""Texts of a study, a log or a summary reach the screen as they stand, and never as orders to it."""

from __future__ import annotations

from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest
from study_help import Answer

from explorer.errors import RenderError, ResultsError, SquatlineError, StudyError
from explorer.files.characters import require_visible, visible, visible_data
from explorer.pipeline import run
from explorer.results.stored import load_summary
from explorer.study.study import load_study
from reports.options import ReportOptions
from reports.screen import Screen

Cli = Callable[..., Answer]
Writer = Callable[..., Path]

# An order to clear the screen, its one-character form, a return, a bell, text that runs backwards, a line of
# its own, and what no text may hold.
OBEYED = ["\x1b[2J", "\x9b2J", "\r", "\a", "\u202e", "\u2028", "\uffff", "\x00", "\x7f"]
MARKUP = "[mm] [/] [red]x :smile:"


@pytest.mark.parametrize("order", OBEYED, ids=ascii)
def test_what_is_obeyed_is_spelled_out(order: str) -> None:
    shown = visible(f"before{order}after")
    assert shown.isascii()
    assert shown.isprintable()
    assert shown.startswith("before\\")
    assert shown.endswith("after")


def test_what_is_shown_stays() -> None:
    for text in ("Größe 5 µm², ≥ 3 °C ✓\n\ttab", "車 ξ \U0001f3ce", "C:\\x1b", MARKUP):
        assert visible(text) == text
        require_visible({text: [text]}, SquatlineError)


def test_nested_data_are_spelled_out_to_the_last_text() -> None:
    found = visible_data({"a\x07": [1, None, ("\x1b", {"b": "\x00"})], "c": 2.5})
    assert found == {"a\\x07": [1, None, ["\\x1b", {"b": "\\x00"}]], "c": 2.5}


def test_a_refusal_names_the_first_place() -> None:
    data = {"study": {"title": "fine"}, "limits": [{"name": "one"}, {"name": "two\x1b", "why": "\x07"}]}
    with pytest.raises(StudyError) as caught:
        require_visible(data, StudyError)
    assert caught.value.key == "limits[2].name"
    assert caught.value.found == "two\\x1b"
    with pytest.raises(StudyError) as caught:
        require_visible({"study": {"tit\x1ble": 1}}, StudyError)
    assert caught.value.key == "study.tit\\x1ble"


@pytest.mark.parametrize("order", OBEYED, ids=ascii)
@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("Small", "Sm{}all", "study.title"),
        ('"kg"', '"kg{}"', "inputs.mass.unit"),
        ("mass", '"ma{}ss"', "inputs.ma"),
        ("front load", "{}", "limits[1].name"),
        ('source = "test"', 'source = "{}"', "inputs.mass.source"),
    ],
)
def test_a_study_is_refused_where_a_text_holds_one(
    small_study: Writer, squatline: Cli, old: str, new: str, key: str, order: str
) -> None:
    escaped = "".join(f"\\u{ord(one):04x}" for one in order)
    answer = squatline("check", small_study(**{old: new.format(escaped)}))
    assert answer.status == 2
    assert "cannot be shown" in answer.err
    assert f"study.toml: {key}" in answer.err
    assert answer.err.replace("\n", "").isprintable()


def test_an_included_file_is_refused_by_its_own_name(small_study: Writer) -> None:
    folder = small_study(**{"[study]": 'include = ["more.toml"]\n[study]'})
    (folder / "more.toml").write_text('inputs.mass = { value = "5 kg", source = "a\\u001b" }')
    with pytest.raises(StudyError) as caught:
        load_study(folder)
    assert (caught.value.file, caught.value.key) == ("more.toml", "inputs.mass.source")


OWN = """
from explorer.graph.quantity import quantity

@quantity("kg", source="book\\x1b[2J")
def double_mass(mass):
    '''Twice the mass.'''
    return 2 * mass
"""


def test_own_quantities_are_refused_by_the_name_of_their_file(small_study: Writer) -> None:
    folder = small_study(**{"samples__=__4000": 'samples = 4000\nown_quantities = "own.py"'})
    (folder / "own.py").write_text(OWN)
    with pytest.raises(StudyError, match="cannot be shown") as caught:
        load_study(folder, allow_code=True)
    assert caught.value.file == str(folder / "own.py")
    assert str(caught.value.key).startswith("double_mass")


@pytest.mark.long
def test_a_summary_is_refused_where_a_text_holds_one(small_study: Writer, squatline: Cli) -> None:
    folder = small_study()
    run(load_study(folder)).save(folder / "results")
    summary = folder / "results" / "summary.json"
    load_summary(folder / "results")
    summary.write_text(summary.read_text().replace("front load", "front\\u001b[2J"))
    with pytest.raises(ResultsError, match="cannot be shown"):
        load_summary(folder / "results")
    answer = squatline("report", folder / "results")
    assert answer.status == 2
    assert "\x1b" not in answer.out + answer.err


def test_words_for_the_cover_are_refused() -> None:
    with pytest.raises(RenderError, match="cannot be shown"):
        ReportOptions(cover_text="mine\x1b").checked(())


FIT = """
[fits.weighing]
kind = "readings"
file = "log.csv"
columns = { mass = { column = "mass", unit = "kg" } }
"""


def test_a_column_of_a_log_is_told_spelled_out(small_study: Writer, squatline: Cli) -> None:
    folder = small_study(limits=FIT)
    (folder / "log.csv").write_text("load\x1b[31m,other\x07\n5.0,1\n5.1,2\n")
    answer = squatline("fit", folder)
    assert answer.status == 2
    assert "load\\x1b[31m, other\\x07" in answer.err
    assert "\x1b" not in answer.out + answer.err
    # One that is taken for the column that was named is shown in the same way.
    (folder / "log.csv").write_text("mass\x1b[31m,other\x07\n5.0,1\n5.1,2\n")
    answer = squatline("fit", folder)
    assert answer.status == 0
    assert "mass\\x1b[31m" in answer.out
    assert "\x1b" not in answer.out + answer.err


@pytest.mark.long
def test_a_folder_with_such_a_name_is_told_spelled_out(small_study: Writer, squatline: Cli) -> None:
    folder = small_study()
    strange = folder / "to\x1b[2Jday"
    for words in (["check", strange], ["run", folder, "--no-report", "-o", strange]):
        answer = squatline(*words)
        assert "to\\x1b[2Jday" in (answer.out + answer.err).replace("\n", "")
        assert "\x1b" not in answer.out + answer.err
    moved = folder / "st\x9budy"
    moved.mkdir()
    (folder / "study.toml").rename(moved / "study.toml")
    assert squatline("run", moved, "--no-report").status == 0
    assert load_summary(moved / "results").reproduction.study_file == "st\\x9budy/study.toml"


@pytest.mark.long
@pytest.mark.parametrize("command", ["run", "check"])
def test_brackets_and_colons_are_printed_as_they_are(
    small_study: Writer, squatline: Cli, command: str
) -> None:
    """The limit is undecided, so its name stands in a sentence as well as in the table."""
    near = '"23.16 N"'
    folder = small_study(**{"front__load": MARKUP, "Small": MARKUP, '"test"': f'"{MARKUP}"', '"23__N"': near})
    answer = squatline(command, folder, "--no-report" if command == "run" else "--all")
    assert answer.status == 0
    printed = " ".join(answer.out.split())
    assert printed.count(MARKUP) == printed.count("[mm]") >= 3


def test_a_screen_shows_orders_of_its_own_only() -> None:
    """On a terminal too: colours are the console's, all else is spelled out."""
    file = StringIO()
    screen = Screen(file=file, force_terminal=True, color_system="standard", width=80)
    screen.print("plain \x1b[2J [bold]x[/bold]")
    screen.print("marked", style="red")
    printed = file.getvalue()
    assert "plain \\x1b[2J [bold]x[/bold]" in printed
    assert "\x1b[31mmarked\x1b[0m" in printed
    assert printed.count("\x1b") == 2
