"""One place of a study's text changed: the rest stays to the last byte."""

from __future__ import annotations

import difflib
import re
from functools import lru_cache
from pathlib import Path

import pytest
import tomlkit

from explorer.desk import editing
from explorer.desk.entry_forms import Fields
from explorer.desk.sheets import written_as
from explorer.desk.workbench import read_study
from explorer.errors import SquatlineError
from tests.desk_help import demo_study
from tests.study_help import DEMO

TEXT = (DEMO / "study.toml").read_text()


def changed(after: str) -> list[str]:
    lines = difflib.ndiff(TEXT.splitlines(), after.splitlines())
    return [line for line in lines if line[:1] in "+-"]


def test_an_input_changes_in_its_own_line() -> None:
    fields = Fields("standard deviation", {"mean": "8.0", "sd": "0.2"}, unit="N/mm", source="scale")
    after = editing.with_entry(TEXT, ("inputs", "rear_wheel_rate"), fields)
    gone, come = changed(after)
    assert gone.startswith("- rear_wheel_rate = { mean = 2.6, sd = 0.25")
    assert come == '+ rear_wheel_rate = { mean = 8.0, sd = 0.2, unit = "N/mm", source = "scale" }'


def test_another_way_of_knowing_leaves_a_clean_line_with_its_comment() -> None:
    text = 'mass = { mean = 5.0, sd = 0.1, unit = "kg" } # scales\n'
    after = editing.with_entry(
        f"[inputs]\n{text}", ("inputs", "mass"), Fields("one value", {"value": "10 lb"})
    )
    assert after == '[inputs]\nmass = {value = "10 lb"} # scales\n'


def test_a_number_left_as_it_was_keeps_its_digits() -> None:
    fields = Fields("standard deviation", {"mean": "4.60", "sd": "0.05"}, unit="kg", source="new scales")
    after = editing.with_entry(TEXT, ("inputs", "mass"), fields)
    assert 'mass = { mean = 4.60, sd = 0.05, unit = "kg", source = "new scales" }' in after


def test_an_input_of_a_condition_changes_there() -> None:
    fields = Fields("one value", {"value": "57 m/s"})
    after = editing.with_entry(TEXT, ("conditions", "open_fast", "speed"), fields)
    assert changed(after) == ['- speed = "55 m/s"', '+ speed = "57 m/s"']


def test_a_limit_changes_key_by_key() -> None:
    after = editing.with_keys(
        TEXT, ("limits", 0), {"at_least": "50 m/s", "probability": "0.90", "at_most": "", "safety": "true"}
    )
    assert sorted(changed(after)) == ['+ at_least = "50 m/s"', "+ safety = true", '- at_least = "52 m/s"']


def test_a_limit_comes_and_goes() -> None:
    keys = {"name": "Light", "quantity": "mass", "condition": "closed", "at_most": "5 kg"}
    added = editing.with_keys(TEXT, ("limits", 6), keys)
    assert editing.at(added, ("limits", 6)) == keys
    assert editing.at(editing.without(added, ("limits", 6)), ("limits", 6)) is None


def test_a_section_that_is_not_there_is_made() -> None:
    after = editing.with_keys("[study]\ntitle = 'x'\n", ("candidates", "soft"), {"words": "soft"})
    assert editing.at(after, ("candidates", "soft", "words")) == "soft"
    assert after.startswith("[study]\ntitle = 'x'\n")


def test_changed_inputs_become_a_candidate_and_the_saved_ones_come_back() -> None:
    fields = Fields("standard deviation", {"mean": "8.0", "sd": "0.2"}, unit="N/mm")
    text = editing.with_entry(TEXT, ("inputs", "rear_wheel_rate"), fields)
    after = editing.as_candidate(TEXT, text, "stiff", "stiff springs")
    assert editing.at(after, ("inputs",)) == editing.at(TEXT, ("inputs",))
    assert editing.at(after, ("candidates", "stiff")) == {
        "words": "stiff springs",
        "rear_wheel_rate": {"mean": 8.0, "sd": 0.2, "unit": "N/mm"},
    }
    assert not [line for line in changed(after) if line.startswith("- ")]
    with pytest.raises(SquatlineError, match="a candidate of that name"):
        editing.as_candidate(TEXT, text, "quick", "")
    with pytest.raises(SquatlineError, match="no input differs"):
        editing.as_candidate(TEXT, TEXT, "same", "")


def test_keys_are_written_as_the_schema_has_them() -> None:
    keys = {"label": "12", "reads": "mass, cg_station", "hours": "1", "accuracy.noise": "2 g"}
    after = editing.with_keys(TEXT, ("measurements", "all"), keys, *written_as(("measurements", "all")))
    assert editing.at(after, ("measurements", "all")) == {
        "label": "12",
        "reads": ["mass", "cg_station"],
        "hours": 1,
        "accuracy": {"noise": "2 g"},
    }
    again = editing.with_keys(after, ("measurements", "all"), {**keys, "accuracy.noise": ""})
    assert editing.at(again, ("measurements", "all", "accuracy")) == {}


@pytest.mark.parametrize(
    ("place", "old", "name"),
    [(("conditions", "open"), "open", "wide"), (("candidates", "quick"), "quick", "swift")],
)
def test_a_new_name_reaches_all_that_call_it_by_the_old_one(
    place: tuple[str, str], old: str, name: str, tmp_path: Path
) -> None:
    after = editing.renamed(TEXT, place, name)
    section = editing.at(TEXT, (place[0],))
    assert list(editing.at(after, (place[0],))) == [name if key == old else key for key in section]
    assert f'"{old}"' not in re.sub(r"(?m)^(words|title|why|name) =.*", "", after)
    assert [line.partition("#")[2] for line in after.splitlines()] == [
        line.partition("#")[2] for line in TEXT.splitlines()
    ]
    study = read_study(demo_study(tmp_path) / "study.toml", after)
    assert name in (*study.conditions, *study.entries.candidates)
    with pytest.raises(SquatlineError, match="there is one of that name"):
        editing.renamed(TEXT, place, next(key for key in section if key != old))


def test_a_limit_with_a_new_name_is_the_one_that_questions_ask_about() -> None:
    name = editing.at(TEXT, ("limits", 0, "name"))
    text = TEXT + f'\n[[questions]]\nvary = "rear_wheel_rate"\nlimit = "{name}"\n'
    after = editing.renamed(text, ("limits", 0), "Quick")
    assert (
        editing.at(after, ("questions", -1, "limit")) == editing.at(after, ("limits", 0, "name")) == "Quick"
    )


def test_inputs_of_a_condition_follow_its_new_name() -> None:
    text = (
        "[conditions.wet]\ngrip = 1\n\n[conditions.wet.more]\na = 1\n\n[[correlations]]\n"
        'between = ["grip@wet", "mass"]\n[measurements.pull]\nreads = { "grip@wet" = { noise = 1 } }\n'
    )
    expected = text.replace("conditions.wet", "conditions.rain").replace("grip@wet", "grip@rain")
    after = editing.renamed(text, ("conditions", "wet"), "rain")
    assert after.replace(" ", "") == expected.replace(" ", "")


def test_a_name_that_stands_in_one_line_with_others_is_changed_in_the_whole_file() -> None:
    with pytest.raises(SquatlineError, match="cannot be changed here"):
        editing.renamed("conditions = { wet = { grip = 1 } }\n", ("conditions", "wet"), "rain")


def test_a_study_is_read_once_however_many_forms_ask(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    monkeypatch.setattr(editing, "_read", lru_cache(lambda text: asked.append(text) or tomlkit.parse(text)))
    text = DEMO.read_text() if DEMO.is_file() else (DEMO / "study.toml").read_text()
    for name in ("mass", "wheelbase", "mass"):
        assert editing.at(text, ("inputs", name)) is not None
    assert asked == [text]
    # What is changed works on a reading of its own.
    changed = editing.with_entry(text, ("inputs", "mass"), Fields("one value", {"value": "5.5"}, unit="kg"))
    assert editing.at(text, ("inputs", "mass")) != editing.at(changed, ("inputs", "mass"))
    assert asked == [text, changed]
