"""The study file: what it understands, and one clear message for each way to be wrong."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import DEMO, Answer

from explorer.errors import SquatlineError
from explorer.study.study import load_study

Cli = Callable[..., Answer]
Writer = Callable[..., Path]


def test_the_demo_is_understood() -> None:
    study = load_study(DEMO)
    assert study.inputs["wheelbase"].distribution.nominal == pytest.approx(0.325)
    assert study.inputs["air_temperature"].distribution.nominal == pytest.approx(289.15)
    assert study.inputs["front_wheel_rate"].distribution.sd == pytest.approx(200.0)
    assert study.conditions["open_fast"].overrides["flap_opening"].distribution.nominal == 1
    assert study.conditions["open_fast"].overrides["speed"].distribution.nominal == 55
    assert study.limits[4].high == pytest.approx(math.radians(1.5))
    assert all(given.source for given in study.all_inputs())


def test_a_file_and_its_folder_are_the_same_study() -> None:
    assert load_study(DEMO / "study.toml").sha256 == load_study(DEMO).sha256


def test_any_quantity_can_be_given(small_study: Writer) -> None:
    study = load_study(small_study(inputs='front_static_load = { mean = 20, sd = 1, unit = "N" }'))
    assert study.graph.inputs_of("front_static_load", study.given_names("rest")) == {"front_static_load"}


def test_includes_replace_inputs_and_change_the_digest(small_study: Writer) -> None:
    folder = small_study()
    before = load_study(folder)
    (folder / "fitted.toml").write_text(
        '[inputs]\nmass = { mean = 5.2, sd = 0.01, unit = "kg", source = "scales" }\n'
    )
    text = (folder / "study.toml").read_text()
    (folder / "study.toml").write_text('include = ["fitted.toml"]\n' + text)
    after = load_study(folder)
    assert after.inputs["mass"].distribution.nominal == 5.2
    assert after.sha256 != before.sha256


WRONG = {
    "unknown key": ("samples = 4000", "samplse = 4000", ["study.samplse", "did you mean 'samples'?"]),
    "unknown section": ("[study]", "[stduy]\n[study]", ["stduy", "did you mean 'study'?"]),
    "unknown input": ("wheelbase =", "wheelbas =", ["inputs.wheelbas", "did you mean 'wheelbase'?"]),
    "missing unit": ('"360 mm"', "360", ["inputs.wheelbase", "mm"]),
    "unknown unit": ('"360 mm"', '"360 mmm"', ["inputs.wheelbase", "mmm"]),
    "wrong dimension": ('"360 mm"', '"360 kg"', ["inputs.wheelbase", "in kg", "mm, cm, m, in, ft"]),
    "negative mass": ("mean = 5.0", "mean = -5.0", ["inputs.mass", "above 0 kg"]),
    "wide tail": ("sd = 0.1,", "sd = 4.0,", ["inputs.mass", "lognormal"]),
    "zero sd": ("sd = 0.1,", "sd = 0,", ["inputs.mass"]),
    "low above high": ("mean = 5.0, sd = 0.1", "low = 6, high = 5", ["inputs.mass"]),
    "unknown distribution key": ("sd = 0.1,", "sdd = 0.1,", ["inputs.mass", "sdd"]),
    "unknown quantity": ('"front_static_load"', '"front_static_laod"', ["limits[1]", "'front_static_load'"]),
    "several values at once": (
        '"front_static_load"',
        '"front_axle_spring"',
        ["limits[1]", "front_axle_spring", "several values", "one number"],
    ),
    "unknown condition": ('condition = "rest"', 'condition = "rset"', ["limits[1]", "did you mean 'rest'?"]),
    "no bound": ('at_least = "23 N"', "", ["limits[1] (front load)", "at_least"]),
    "bounds crossed": (
        'at_least = "23 N"',
        'at_least = "23 N"\nat_most = "22 N"',
        ["limits[1] (front load)"],
    ),
    "bound in another dimension": (
        'at_least = "23 N"',
        'at_least = "23 mm"',
        ["limits[1] (front load).at_least", "in mm"],
    ),
    "probability above one": (
        "probability = 0.5",
        "probability = 95",
        ["limits[1].probability", 'write 0.95, or "95 %"'],
    ),
    "decimal comma": ('at_least = "23 N"', "at_least = 23,5", ["a decimal point: 23.5"]),
    "probability of one": ("probability = 0.5", "probability = 1.0", ["limits[1].probability"]),
    "missing input": ("cg_station = {", "cg_height = {", ["cg_station [m], needed for front_static_load"]),
    "not TOML": ("[study]", "[study", ["cannot be read"]),
    "too few samples": ("samples = 4000", "samples = 3", ["study.samples"]),
    "condition like none": (
        'speed = "0 m/s"',
        'speed = "0 m/s"\nlike = "nowhere"',
        ["conditions.rest.like", "nowhere"],
    ),
    "unknown model": ("[inputs]", '[models]\ndrive = "steam"\n[inputs]', ["models.drive", "electric"]),
    "correlation with an exact input": (
        "[conditions.rest]",
        '[[correlations]]\nbetween = ["mass", "wheelbase"]\nvalue = 0.5\n[conditions.rest]',
        ["correlations[1]", "wheelbase"],
    ),
    "source that is no text": ('source = "test"', "source = 7", ["inputs.mass.source"]),
    "own Python file not allowed": (
        "samples = 4000",
        'samples = 4000\nown_quantities = "own.py"',
        ["--allow-code"],
    ),
}


@pytest.mark.parametrize("fault", WRONG)
def test_wrong_input_is_told_in_one_message(fault: str, small_study: Writer, squatline: Cli) -> None:
    old, new, expected = WRONG[fault]
    folder = small_study()
    file = folder / "study.toml"
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new, 1))
    answer = squatline("run", folder)
    assert answer.status == 2
    assert answer.out == ""
    assert "Traceback" not in answer.err
    for words in ["study.toml", *expected]:
        assert words in answer.err
    assert sorted(path.name for path in folder.iterdir()) == ["study.toml"]


def test_correlations_that_cannot_all_hold(small_study: Writer) -> None:
    pairs = [("mass", "cg_station", 0.9), ("cg_station", "cg_height", 0.9), ("mass", "cg_height", -0.9)]
    blocks = "".join(f'[[correlations]]\nbetween = ["{a}", "{b}"]\nvalue = {r}\n' for a, b, r in pairs)
    with pytest.raises(SquatlineError, match="cannot all hold at once"):
        load_study(small_study(inputs='cg_height = { mean = 50, sd = 3, unit = "mm" }\n' + blocks))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\xff\xfe[\x00s\x00", "not UTF-8"),
        (b"#" * 100_000_000, "100 MB"),
        (b"", "missing"),
    ],
    ids=["encoding", "100 MB", "empty"],
)
def test_files_that_cannot_be_a_study(content: bytes, words: str, tmp_path: Path, squatline: Cli) -> None:
    (tmp_path / "study.toml").write_bytes(content)
    answer = squatline("check", tmp_path)
    assert answer.status == 2
    assert words in answer.err
    assert "study.toml" in answer.err


def test_no_such_study(tmp_path: Path, squatline: Cli) -> None:
    answer = squatline("run", tmp_path / "nowhere")
    assert answer.status == 2
    assert "there is no such file" in answer.err


def test_a_byte_order_mark_is_no_fault(small_study: Writer) -> None:
    folder = small_study()
    text = (folder / "study.toml").read_text()
    (folder / "study.toml").write_text("\ufeff" + text, encoding="utf-8")
    assert load_study(folder).title == "Small"


def test_own_quantities_join_the_graph_when_allowed(small_study: Writer) -> None:
    folder = small_study(
        limits='[[limits]]\nquantity = "twice_the_mass"\ncondition = "rest"\nat_least = "9 kg"\n',
        **{"samples__=__4000": 'samples = 4000\nown_quantities = "own.py"'},
    )
    (folder / "own.py").write_text(
        "from explorer.graph.quantity import quantity\n\n"
        '@quantity("kg", source="definition")\n'
        "def twice_the_mass(mass):\n"
        '    """Twice the mass."""\n'
        "    return 2 * mass\n"
    )
    study = load_study(folder, allow_code=True)
    assert study.graph.inputs_of("twice_the_mass", study.given_names("rest")) == {"mass"}


def test_own_file_that_fails_is_told_as_such(small_study: Writer) -> None:
    folder = small_study(**{"samples__=__4000": 'samples = 4000\nown_quantities = "own.py"'})
    (folder / "own.py").write_text("1 / 0\n")
    with pytest.raises(SquatlineError, match="ZeroDivisionError") as caught:
        load_study(folder, allow_code=True)
    assert "own_quantities" in str(caught.value)


def test_limits_and_conditions_are_written_as_people_write(small_study: Writer) -> None:
    study = load_study(
        small_study(
            conditions='cg_station = "190 +/- 6 mm"',
            limits='[[limits]]\nname = "on target"\nquantity = "front_static_load"\ncondition = "rest"\n'
            'target = "2.4 ± 0.1 kg"\nprobability = "80 %"\n',
        )
    )
    limit = study.limits[1]
    assert limit.probability == 0.8
    assert limit.asked.ends == pytest.approx((2.3 * 9.80665, 2.5 * 9.80665))
    assert study.conditions["rest"].overrides["cg_station"].distribution.sd == pytest.approx(0.003)


FAMILY = """
[families]
point = ["nose", "tail", "side"]

[inputs]
point_station = "100 mm"
tail_station = "380 mm"
point_clearance_at_rest = { mean = 9, sd = 1, unit = "mm", source = "rule" }
"""


def test_members_of_a_family_share_an_entry(small_study: Writer) -> None:
    """What one member says itself counts, wherever it stands; each draws its own errors."""
    folder = small_study(
        conditions='point_clearance_at_rest = "8 mm"\ntail_clearance_at_rest = "7 mm"',
        **{"[inputs]": FAMILY},
    )
    study = load_study(folder)
    stations = [study.inputs[f"{name}_station"].distribution.nominal for name in ("nose", "tail", "side")]
    assert stations == [0.1, 0.38, 0.1]
    rest = study.conditions["rest"].overrides
    assert [rest[f"{name}_clearance_at_rest"].distribution.nominal for name in ("nose", "tail", "side")] == [
        0.008,
        0.007,
        0.008,
    ]
    streams = {study.inputs[f"{name}_clearance_at_rest"].stream for name in ("nose", "tail", "side")}
    assert len(streams) == 3
    text = (folder / "study.toml").read_text()
    (folder / "fitted.toml").write_text('[inputs]\nnose_station = "120 mm"\n')
    (folder / "study.toml").write_text('include = ["fitted.toml"]\n' + text)
    with_fit = load_study(folder)
    assert with_fit.inputs["nose_station"].distribution.nominal == 0.12
    assert with_fit.without("fitted.toml").inputs["nose_station"].distribution.nominal == 0.1
    (folder / "study.toml").write_text(text.replace('"100 mm"', '"100 kg"'))
    with pytest.raises(SquatlineError, match="a value in kg") as caught:
        load_study(folder)
    assert caught.value.key == "inputs.point_station"


def test_sharing_changes_no_order_of_the_inputs(small_study: Writer) -> None:
    """A ranking counts its dimensions along the inputs: shared entries leave them where they were."""
    shared = (
        '[families]\npoint = ["nose", "tail"]\n\n[inputs]\npoint_clearance_at_rest = "9 ± 1 mm"\n'
        'nose_station = "-90 ± 2 mm"\ntail_station = "380 ± 2 mm"\n'
    )
    written_out = (
        '[families]\npoint = ["nose", "tail"]\n\n[inputs]\nnose_station = "-90 ± 2 mm"\n'
        'nose_clearance_at_rest = "9 ± 1 mm"\ntail_clearance_at_rest = "9 ± 1 mm"\n'
        'tail_station = "380 ± 2 mm"\n'
    )
    orders = [list(load_study(small_study(**{"[inputs]": text})).inputs) for text in (shared, written_out)]
    assert orders[0] == orders[1]
    assert orders[0][:4] == [
        "nose_station",
        "nose_clearance_at_rest",
        "tail_station",
        "tail_clearance_at_rest",
    ]
