"""All mistakes of a study at once, each with its line; what each message advises is done, and it is right."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from study_help import Answer

from explorer.errors import MOST_TOLD, Faults, JoinedError, SquatlineError, StudyError
from explorer.study.schema import StudyFile
from explorer.study.shape import read_section
from explorer.study.slips import slip_in
from explorer.study.study import load_study

Cli = Callable[..., Answer]
Writer = Callable[..., Path]

# What stands in the small study -> the mistake, a part of the remedy, what stands there once it is followed.
Mistakes = Mapping[str, tuple[str, str, str]]
SYNTAX: Mistakes = {
    'wheelbase = "360 mm"': ("wheelbase = 360 mm", '"360 mm"', 'wheelbase = "360 mm"'),
    'at_least = "23 N"': ("at_least = 23,5", "23.5", 'at_least = "23.5 N"'),
    'title = "Small"': ("title = “Small”", "straight quotes", 'title = "Small"'),
    "samples = 4000": ("samples: 4000  # cars", "samples = 4000", "samples = 4000"),
    "[conditions.rest]": ("[conditions.rest", "[conditions.rest]", "[conditions.rest]"),
    "probability = 0.5": ("probability 0.5", "probability = 0.5", "probability = 0.5"),
    'condition = "rest"': ("condition = rest", '"rest"', 'condition = "rest"'),
    "sensitivity_samples = 64": ("seed = 2\nseed = 2", "take one out", "seed = 2"),
    'name = "front load"': ("name =", "write the value", 'name = "front load"'),
}
SHAPE: Mistakes = {
    "samples = 4000": ("samplse = 4000", "did you mean 'samples'?", "samples = 4000"),
    'title = "Small"': ("", "add it", 'title = "Small"'),
    "sensitivity_samples = 64": (
        'sensitivity_samples = "many"',
        "without quotes",
        "sensitivity_samples = 64",
    ),
    'quantity = "front_static_load"': (
        'quantiy = "front_static_load"',
        "did you mean 'quantity'?",
        'quantity = "front_static_load"',
    ),
    "probability = 0.5": ("probability = 95", '"95 %"', 'probability = "95 %"'),
    "[inputs]": ("[studdy]\nseed = 2\n[inputs]", "did you mean 'study'?", "[inputs]"),
}
ENTRIES: Mistakes = {
    'wheelbase = "360 mm"': ("wheelbas = 360", "did you mean 'wheelbase'?", 'wheelbase = "360 mm"'),
    "sd = 0.1": ("sdd = 0.1", "did you mean 'sd'?", "sd = 0.1"),
    'sd = 5, unit = "mm"': ('sd = 5, unit = "mmm"', "did you mean 'mm'?", 'sd = 5, unit = "mm"'),
    'speed = "0 m/s"': ('speed = "0 m/s"\ncg_height = 45', '"45 mm"', 'speed = "0 m/s"\ncg_height = "45 mm"'),
    'condition = "rest"': ('condition = "rset"', "did you mean 'rest'?", 'condition = "rest"'),
    "[conditions.rest]": (
        '[display]\nmas = "g"\n[conditions.rest]',
        "'mass'",
        '[display]\nmass = "g"\n[conditions.rest]',
    ),
}


def _changed(text: str, mistakes: Mistakes, which: int) -> str:
    for right, one in mistakes.items():
        assert text.count(right) == 1
        text = text.replace(right, one[which])
    return text


@pytest.mark.parametrize("mistakes", [SYNTAX, SHAPE, ENTRIES], ids=["syntax", "shape", "entries"])
def test_all_are_told_at_once_with_their_lines_and_remedies_that_work(
    mistakes: Mistakes, small_study: Writer, squatline: Cli
) -> None:
    file = small_study() / "study.toml"
    right = file.read_text()
    wrong = _changed(right, mistakes, 0)
    file.write_text(wrong)
    answer = squatline("check", file.parent)
    assert answer.status == 2
    assert f"{len(mistakes)} mistakes were found" in answer.err
    told = answer.err.split("\n\n")[1:]
    assert len(told) == len(mistakes)
    for mistake, remedy, _ in mistakes.values():
        assert any(remedy in one for one in told), remedy
        if mistake:
            texts = [one.split("\n")[1].partition(": ")[2] for one in told]
            assert any(row and row in text for row in mistake.split("\n") for text in texts), mistake
    rows = wrong.split("\n")
    shown = [re.fullmatch(r"  line (\d+): (.*)", one.split("\n")[1]) for one in told]
    numbers = [int(one[1]) for one in shown if one]
    assert [one[2] for one in shown if one] == [rows[number - 1].strip() for number in numbers]
    assert numbers == sorted(numbers)
    assert len(numbers) == len(told)
    file.write_text(_changed(right, mistakes, 2))
    assert squatline("check", file.parent).status == 0


def refused_then_read(file: Path, right: str, slip: str, remedy: str, followed: str) -> None:
    """Write a slip, look for its remedy, and read the study once that is followed."""
    text = file.read_text()
    assert text.count(right) == 1
    file.write_text(text.replace(right, slip))
    with pytest.raises(SquatlineError) as caught:
        load_study(file)
    assert remedy in str(caught.value)
    file.write_text(text.replace(right, followed))
    load_study(file)


def test_mistakes_of_included_files_carry_their_names(small_study: Writer) -> None:
    file = small_study() / "study.toml"
    text = file.read_text().replace('"360 mm"', '"360 kg"')
    file.write_text(f'include = ["scales.toml", "more.toml"]\n{text}')
    more = file.with_name("more.toml")
    more.write_text(
        '[[correlations]]\nbetween = ["mass", "cg_station"]\nvalue = 0.1\n\n[[correlations]]\n'
        'between = ["mass", "cg_hight"]\nvalue = 0.1\n'
    )
    file.with_name("scales.toml").write_text("\n[inputs]\n# as weighed\nmass = 5.1\n")
    with pytest.raises(JoinedError) as caught:
        load_study(file)
    places = {(Path(one.file or "").name, one.line, one.text, one.key) for one in caught.value.each}
    assert places == {
        ("study.toml", 10, 'wheelbase = "360 kg"', "inputs.wheelbase"),
        ("scales.toml", 4, "mass = 5.1", "inputs.mass"),
        ("more.toml", 6, 'between = ["mass", "cg_hight"]', "correlations[2].between"),
    }
    more.write_text("[limits]\nx = 1\n[inputs]\n[study]\n")
    with pytest.raises(JoinedError) as caught:
        load_study(file)
    assert {(one.file, one.line) for one in caught.value.each} == {("more.toml", 1), ("more.toml", 4)}


def test_one_mistake_is_told_as_it_is_and_many_up_to_a_bound(small_study: Writer) -> None:
    file = small_study() / "study.toml"
    text = file.read_text()
    file.write_text(text.replace("samples = 4000", "samplse = 4000"))
    with pytest.raises(SquatlineError) as one:
        load_study(file)
    assert (type(one.value).__name__, one.value.line) == ("StudyError", 4)
    unknown = "\n".join(f'unknown_{place} = "1 mm"' for place in range(25))
    file.write_text(text.replace("[inputs]", f"[inputs]\n{unknown}"))
    with pytest.raises(JoinedError) as many:
        load_study(file)
    said = str(many.value)
    assert said.count("no quantity is called") == MOST_TOLD
    assert said.endswith("and 5 more")


def test_sections_read_after_the_study_are_told_with_their_lines(small_study: Writer, squatline: Cli) -> None:
    file = small_study(
        limits='[measurements.a]\nreads = ["wheelbase"]\nhours = 1\naccuracy = { noise = "1 mm" }\n'
        '[measurements.b]\ntake = "spring_on_scale"\n'
        '[[objectives]]\nquantity = "weigth"\ncondition = "rest"\n'
    )
    answer = squatline("check", file)
    assert answer.status == 2
    assert "3 mistakes were found" in answer.err
    for words in ("measurements.a", "[measurements.a]", 'take = "spring_on_scale"', 'quantity = "weigth"'):
        assert words in answer.err


def test_a_run_tells_them_across_sections_before_it_draws(small_study: Writer, squatline: Cli) -> None:
    run = '[logged_runs.{}]\nfile = "{}.csv"\nquantity = "pitch"\nalong = "speed"\ncondition = "rest"\n'
    columns = 'columns = { speed = { column = "v", unit = "m/s" }, pitch = { column = "p", unit = "deg" } }\n'
    logged = "".join(run.format(name, name) + columns for name in ("dawn", "dusk"))
    file = small_study(limits=f'[measurements.b]\ntake = "spring_on_scale"\n{logged}')
    answer = squatline("run", file, "--no-report")
    assert answer.status == 2
    assert "3 mistakes were found" in answer.err
    for words in ('take = "spring_on_scale"', "logged_runs.dawn", "logged_runs.dusk"):
        assert words in answer.err
    assert not (file / "results" / "summary.json").exists()


@pytest.mark.parametrize(
    ("slip", "remedy", "followed"),
    [
        ('wheelbase = { value = "17.3"" }', 'write "in" for inches', 'wheelbase = { value = "17.3 in" }'),
        (
            "wheelbase = { value = '360 mm\", source = 'tape' }",
            "the same kind of quote",
            "wheelbase = { value = '360 mm', source = 'tape' }",
        ),
        (
            'wheelbase = { mean = 360,5, sd = 0,5, unit = "mm" }',
            "write decimal points: 360.5, 0.5",
            'wheelbase = { mean = 360.5, sd = 0.5, unit = "mm" }',
        ),
        (
            'wheelbase = { mean = 360, sd = 0.5 mm, unit = "mm" }',
            'put a number with its unit in quotes: "0.5 mm"',
            'wheelbase = { mean = 360, sd = "0.5 mm", unit = "mm" }',
        ),
        ('wheelbase = "360 mm', "the same kind of quote", 'wheelbase = "360 mm"'),
        (
            'wheelbase = { value = "360 mm", source = "tape"',
            "close the braces",
            'wheelbase = { value = "360 mm", source = "tape" }',
        ),
        (
            'wheelbase = { value = "360 mm",\n source = "tape" }',
            "on one line",
            'wheelbase = { value = "360 mm", source = "tape" }',
        ),
        (
            'wheelbase = { value = "360 mm" source = "tape" }',
            "write a comma before source",
            'wheelbase = { value = "360 mm", source = "tape" }',
        ),
        (
            'wheelbase = { value = "360 mm", source = tape }',
            'put words in quotes: "tape"',
            'wheelbase = { value = "360 mm", source = "tape" }',
        ),
        (
            'wheelbase = { readings = [360,4; 360,6], unit = "mm" }',
            "[360.4, 360.6]",
            'wheelbase = { readings = [360.4, 360.6], unit = "mm" }',
        ),
        ('wheel base = "360 mm"', "each space: wheel_base", 'wheelbase = "360 mm"'),
        ('wheelbase\u00a0= "360 mm"', "type the spaces anew", 'wheelbase = "360 mm"'),
        ('wheelbase == "360 mm"', "write = once", 'wheelbase = "360 mm"'),
        ('wheelbase = 14.2"', 'write "in" for inches', 'wheelbase = "14.2 in"'),
        ('wheelbase = "360 mm" measured', "comment with #: # measured", 'wheelbase = "360 mm" # measured'),
        ('// by tape\nwheelbase = "360 mm"', "comment with #: # by tape", '# by tape\nwheelbase = "360 mm"'),
        (
            'wheelbase = { value = "360 mm", source = "C:\\logs\\tape.txt" }',
            '"C:/logs/tape.txt"',
            'wheelbase = { value = "360 mm", source = "C:/logs/tape.txt" }',
        ),
        ("wheelbase = 3,600", "write 3600 without a comma", 'wheelbase = "3600 mm"'),
        (
            'wheelbase = "360 mm"\n[inputs]\ncg_height = "50 mm"',
            "in line",
            'wheelbase = "360 mm"\ncg_height = "50 mm"',
        ),
        (
            'wheelbase = "355 - 365 mm"',
            'low = "355 mm", high = "365 mm"',
            'wheelbase = { low = "355 mm", high = "365 mm" }',
        ),
        (
            'wheelbase = "355 mm to 365 mm"',
            'low = "355 mm", high = "365 mm"',
            'wheelbase = { low = "355 mm", high = "365 mm" }',
        ),
        ('wheelbase = "about 360 mm"', 'write "360 mm"', 'wheelbase = "360 ± 2 mm"'),
        (
            'wheelbase = "unknown"',
            'low = "200 mm", high = "700 mm"',
            'wheelbase = { low = "200 mm", high = "700 mm" }',
        ),
        (
            'wheelbase = "36 cm"\nwing_pitch_slope = "?"',
            'write "usual"',
            'wheelbase = "36 cm"\nwing_pitch_slope = "usual"',
        ),
        ('wheelbase = "360 MM"', "did you mean 'mm'?", 'wheelbase = "360 mm"'),
        ('wheelbase = "360 mm2"', "did you mean 'mm'?", 'wheelbase = "360 mm"'),
        (
            'wheelbase = { min = 355, max = 365, unit = "mm" }',
            "did you mean 'low'?",
            'wheelbase = { low = 355, high = 365, unit = "mm" }',
        ),
        (
            'wheelbase = { value = 360, tolerance = 1, unit = "mm" }',
            "did you mean 'plus_minus'?",
            'wheelbase = { value = 360, plus_minus = 1, unit = "mm" }',
        ),
        ('wheelbase = { source = "tape" }', "add value", 'wheelbase = { value = "360 mm", source = "tape" }'),
        (
            "wheelbase = [360, 361]",
            "{ readings = [360, 361], unit",
            'wheelbase = { readings = [360, 361], unit = "mm" }',
        ),
        ("wheelbase = { mean = 360, spread = 1 }", "plus_minus", 'wheelbase = "360 plus minus 1 mm"'),
        ("wheelbase = 0.36", '"0.36 mm"', 'wheelbase = "360 mm"'),
        (
            'wheelbase = "36 cm"\ndrive_efficiency = 85',
            'did you mean "85 %"?',
            'wheelbase = "36 cm"\ndrive_efficiency = "85 %"',
        ),
    ],
)
def test_a_slip_of_the_pen_is_right_once_its_remedy_is_followed(
    slip: str, remedy: str, followed: str, small_study: Writer
) -> None:
    refused_then_read(small_study() / "study.toml", 'wheelbase = "360 mm"', slip, remedy, followed)


@pytest.mark.parametrize(
    ("key", "slip", "remedy", "followed"),
    [
        ("probability", "safety = yes\nprobability", "write true", "safety = true\nprobability"),
        ("at_least", "minimum", "did you mean 'at_least'?", "at_least"),
        ("at_least", "above", "did you mean 'at_least'?", "at_least"),
        ("at_least", 'at_most = "2 N"\nat_least', "swap them", 'at_most = "90 N"\nat_least'),
    ],
)
def test_a_limit_in_other_words_is_right_once_its_remedy_is_followed(
    key: str, slip: str, remedy: str, followed: str, small_study: Writer
) -> None:
    refused_then_read(small_study() / "study.toml", f"{key} =", f"{slip} =", remedy, f"{followed} =")


def test_a_throttle_that_is_no_throttle_is_told_the_three(small_study: Writer) -> None:
    file = small_study(limits="[conditions.fast]\nthrottle = 100\n") / "study.toml"
    with pytest.raises(SquatlineError, match='write one of these, in straight quotes: throttle = "full"'):
        load_study(file)
    file.write_text(file.read_text().replace("throttle = 100", 'throttle = "full"'))
    assert load_study(file).conditions["fast"].throttle == "full"


def test_a_probability_in_percent_is_told_as_it_was_meant(small_study: Writer) -> None:
    file = small_study(**{"probability__=__0.5": "probability = 80"}) / "study.toml"
    with pytest.raises(SquatlineError, match=r'write 0\.8, or "80 %"'):
        load_study(file)


@pytest.mark.parametrize(
    ("right", "slip", "remedy", "followed"),
    [
        ("samples = 4000", 'samples = "4 000"', "write 4000, without quotes", "samples = 4000"),
        ("[conditions.rest]", "[conditions.at rest]", "[conditions.at_rest]", "[conditions.rest]"),
        ("[conditions.rest]", "[conditions.Rest]", "write rest", "[conditions.rest]"),
        (
            "[study]",
            'include = "more.toml"\n[study]',
            'include = ["more.toml"]',
            'include = ["more.toml"]\n[study]',
        ),
        ("[[limits]]", "[[limits]]\n[limits]", "write [[limits]]", "[[limits]]"),
        (
            "[[limits]]",
            '[[correlations]]\nbetween = ["mass"]\nvalue = 0.5\n[[limits]]',
            "add what is missing",
            '[[correlations]]\nbetween = ["mass", "cg_station"]\nvalue = 0.5\n[[limits]]',
        ),
        ("[[limits]]", '[conditions.two]\nlike = "rset"\n[[limits]]', "did you mean 'rest'?", "[[limits]]"),
        (
            "[[limits]]",
            '[display]\nmass = "mm"\n[[limits]]',
            "did you mean 'kg'?",
            '[display]\nmass = "kg"\n[[limits]]',
        ),
    ],
)
def test_a_slip_elsewhere_is_right_once_its_remedy_is_followed(
    right: str, slip: str, remedy: str, followed: str, small_study: Writer
) -> None:
    file = small_study() / "study.toml"
    file.with_name("more.toml").write_text("[inputs]\n")
    refused_then_read(file, right, slip, remedy, followed)


MEASURED = '[measurements.a]\nreads = ["{}"]\nhours = {}\naccuracy = {{ noise = "1 g" }}\n'
RANGE = '[design.wheelbase]\nlow = "{} mm"\nhigh = "{} mm"\n'


@pytest.mark.parametrize(
    ("slip", "remedy", "followed"),
    [
        (MEASURED.format("mass", '"1 h"'), "write hours = 1.5", MEASURED.format("mass", "1.5")),
        (MEASURED.format("wheelbase", 1), "give it a spread", MEASURED.format("mass", 1)),
        (RANGE.format(400, 300), "swap them", RANGE.format(300, 400)),
    ],
)
def test_a_slip_in_what_is_measured_or_changed_is_right_once_its_remedy_is_followed(
    slip: str, remedy: str, followed: str, small_study: Writer, squatline: Cli
) -> None:
    answer = squatline("check", small_study(limits=slip))
    assert answer.status == 2
    assert remedy in answer.err
    assert squatline("check", small_study(limits=followed)).status == 0


@pytest.mark.parametrize("path", [r"logs\new.csv", r"logs\feather.csv", r"logs\\mass.csv"])
def test_a_path_with_backslashes_is_right_with_slashes(
    path: str, small_study: Writer, squatline: Cli
) -> None:
    fit = '[fits.weighed]\nkind = "readings"\ncolumns = { mass = { column = "m", unit = "kg" } }\n'
    folder = small_study(limits=f'{fit}file = "{path}"\n')
    (folder / "logs").mkdir()
    log = folder / path.replace("\\\\", "/").replace("\\", "/")
    log.write_text("m\n5.01\n5.02\n5.00\n5.01\n")
    answer = squatline("fit", folder)
    assert answer.status == 2
    assert "write / in place of" in answer.err
    file = folder / "study.toml"
    file.write_text(file.read_text().replace(path, f"logs/{log.name}"))
    assert squatline("fit", folder).status == 0


@pytest.mark.parametrize("line", ["", "[inputs]", "x = 1", "x = ]", "x = 1.2.3", "a b c", "x = [1,2]"])
def test_lines_that_are_no_known_slip_are_left_alone(line: str) -> None:
    assert slip_in(line) is None


@pytest.mark.parametrize(
    ("inputs", "models"),
    [
        ('friction_brake_force = "45 N"', 'brakes = "fitted"'),
        ("brake_balance_front = 0.6", 'brakes = "balance" or "fitted"'),
        ("gear_ratio = 2.6", 'drive = "electric"'),
    ],
)
def test_a_quantity_of_a_model_that_is_not_chosen_says_which_knows_it(
    small_study: Writer, inputs: str, models: str
) -> None:
    with pytest.raises(SquatlineError, match=re.escape(f"write {models} under [models]")):
        load_study(small_study(inputs=inputs))


@pytest.mark.parametrize(
    ("line", "remedy"),
    [
        ('brakes = "fitted"', 'write brakes = "ideal" or "balance" or "fitted" or "none" under [models]'),
        ('contact = "points"', 'write contact = "none" or "points" under [models]'),
        ('throttle = "full"', 'throttle = "full" under [conditions.NAME]'),
        ('motor_warming = "40 K"', "did you mean 'motor_temperature', which is the air's"),
        ('nose_station = "-120 mm"', "did you mean 'car_length', which the points under the car"),
    ],
)
def test_what_stands_under_inputs_but_belongs_elsewhere(small_study: Writer, line: str, remedy: str) -> None:
    with pytest.raises(SquatlineError, match=re.escape(remedy)):
        load_study(small_study(inputs=line))


@pytest.mark.parametrize(
    ("entry", "remedy"),
    [
        ("low = -0.2, mode = 0.3, high = 0.5", "move low and high inside that"),
        ("mean = 0.1, sd = 0.1", "give a low and a high bound beside mean and sd"),
    ],
)
def test_a_distribution_beyond_what_is_possible_is_mended_as_it_is_written(
    small_study: Writer, entry: str, remedy: str
) -> None:
    with pytest.raises(SquatlineError, match=remedy):
        load_study(small_study(inputs=f'reaction_time = {{ {entry}, unit = "s" }}'))


def test_points_that_carry_but_have_no_name_are_the_one_mistake_told(small_study: Writer) -> None:
    folder = small_study(**{"[inputs]": '[models]\ncontact = "points"\n\n[inputs]'})
    with pytest.raises(SquatlineError) as caught:
        load_study(folder)
    assert not isinstance(caught.value, JoinedError)
    assert 'point = ["splitter_edge"]' in str(caught.value)


def test_a_mistake_that_is_met_twice_is_told_once() -> None:
    faults = Faults()
    for key in ("inputs.mass", "inputs.mass", "inputs.wheelbase"):
        with faults.noted():
            raise StudyError("the value is not finite", key=key)
    assert [one.key for one in faults.found] == ["inputs.mass", "inputs.wheelbase"]


def test_no_unknown_key_hides_another() -> None:
    """The first means the second, which may not stand here either: both are told."""
    with pytest.raises(StudyError) as told:
        read_section(StudyFile, {"study": {"name": "car", "min": 1.0, "at_least": 2.0}})
    assert {error.key for error in told.value.each} >= {"study.min", "study.at_least"}
