"""The study on the desk: undo, saving, a file changed meanwhile, and what a crash leaves."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from explorer.analyses.live_leads import live_leads
from explorer.analyses.live_verdicts import live_verdicts
from explorer.desk.at_work import AtWork
from explorer.desk.pages import verdicts
from explorer.desk.rows import LeadShown, rows
from explorer.desk.workbench import MOST_STEPS_BACK, Workbench
from explorer.engine.execution import Execution
from explorer.errors import SquatlineError
from explorer.study.study import load_study
from explorer.study.template import CarHas, template
from tests.desk_help import PATIENCE, judged, settled, small_study

CARRIES = """
[[limits]]
quantity = "contact_load"
condition = "closed"
at_most = "3 N"
probability = 0.9
"""


def heavier(text: str) -> str:
    return text.replace("mean = 5.0", "mean = 5.5")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return small_study(tmp_path) / "study.toml"


def test_a_change_is_judged_and_can_be_undone(file: Path) -> None:
    bench = Workbench.of(file)
    judged(bench.firming)
    saved = bench.firming.standing
    bench.change(heavier)
    judged(bench.firming)
    *_, expected = live_verdicts(bench.study)
    assert bench.firming.standing == expected
    assert saved is not None
    assert bench.before == {"front load": saved.verdicts.limits[0]}
    assert bench.study.inputs["mass"].distribution.mean == 5.5
    bench.undo()
    judged(bench.firming)
    assert bench.text == bench.saved
    assert bench.firming.standing == saved


def test_it_says_what_is_taken_for_granted(tmp_path: Path) -> None:
    """A limit that is met since nothing carries, in numbers of the reader's, and only while it is there."""
    point = 'rear_floor_edge_clearance_at_rest = "2 mm"'
    text = re.sub(r"(?m)^rear_floor_edge_clearance_at_rest = .*$", point, template(CarHas()))
    file = tmp_path / "study.toml"
    file.write_text(text + CARRIES, encoding="utf-8")
    bench = Workbench.of(file)
    settled(bench.firming)
    page = " ".join(verdicts(bench).split())
    assert "The limit on contact_load is met by any car" in page
    assert re.search(r"rear_floor_edge of the nominal car is .*mm.* inside the road in gaining", page)
    bench.change(lambda text: text.replace(point, point.replace("2 mm", "30 mm")).replace(CARRIES, ""))
    settled(bench.firming)
    assert "contact" not in verdicts(bench)


def test_processes_judge_alike_and_a_change_lets_go_of_those_at_work(file: Path) -> None:
    bench = Workbench.of(file, AtWork(2))
    before = bench.firming.at_work._computing
    assert before is not None
    computing = list(before._processes.values())
    bench.change(heavier)
    for process in computing:
        process.join(PATIENCE)
        assert process.exitcode is not None
    settled(bench.firming)
    at_work = bench.firming.at_work
    waiting = at_work._waiting
    at_work.get_ready(bench.study, Execution(2, at_work._computing))
    assert at_work._waiting is waiting
    *_, expected = live_verdicts(bench.study)
    assert bench.firming.standing == expected
    assert bench.firming.leads == {one.limit: (bench.firming.turn, one) for one in live_leads(bench.study)}
    bench.firming.stop()
    assert not bench.firming.error


def test_what_is_no_study_changes_nothing(file: Path) -> None:
    bench = Workbench.of(file)
    with pytest.raises(SquatlineError, match="unit"):
        bench.change(lambda text: text.replace('"360 mm"', '"360 kg"'))
    assert (bench.text, bench.steps) == (bench.saved, [])
    assert not (file.parent / ".squatline" / "desk-study.toml").exists()


def test_unsaved_changes_outlive_the_server(file: Path) -> None:
    Workbench.of(file).change(heavier)
    assert "5.5" not in file.read_text()
    bench = Workbench.of(file)
    assert bench.taken_up
    assert "mean = 5.5" in bench.text
    bench.undo()
    assert bench.text == file.read_text()


def test_a_copy_that_is_no_study_any_more_is_laid_aside(file: Path) -> None:
    Workbench.of(file).change(heavier)
    copy = file.parent / ".squatline" / "desk-study.toml"
    copy.write_text("what = is this")
    assert not Workbench.of(file).taken_up
    assert [one.name for one in copy.parent.iterdir()] == ["desk-study.left.toml"]


def test_saving_writes_what_was_looked_at(file: Path) -> None:
    bench = Workbench.of(file)
    bench.change(heavier)
    assert [line for line in bench.difference() if line[0] in "+-"][2:] == [
        '-mass = { mean = 5.0, sd = 0.1, unit = "kg", source = "test" } # scales',
        '+mass = { mean = 5.5, sd = 0.1, unit = "kg", source = "test" } # scales',
    ]
    bench.save(bench.seen())
    assert file.read_text() == bench.text == bench.saved
    assert load_study(file).inputs["mass"].distribution.mean == 5.5
    assert list((file.parent / ".squatline").iterdir()) == []


def test_a_file_changed_meanwhile_is_not_overwritten(file: Path) -> None:
    bench = Workbench.of(file)
    bench.change(heavier)
    looked_at = bench.seen()
    elsewhere = file.read_text().replace("360 mm", "365 mm")
    file.write_text(elsewhere)
    with pytest.raises(SquatlineError, match="has changed since"):
        bench.save(looked_at)
    assert file.read_text() == elsewhere
    bench.take_from_disk()
    assert bench.text == elsewhere
    assert not bench.unsaved
    bench.undo()
    assert "mean = 5.5" in bench.text
    assert bench.unsaved


@pytest.mark.long
def test_steps_back_are_bounded(file: Path) -> None:
    bench = Workbench.of(file)
    for step in range(MOST_STEPS_BACK + 20):
        bench.change(lambda text, step=step: f"{text}# {step}\n")
    assert len(bench.steps) == MOST_STEPS_BACK
    bench.firming.stop()


def test_what_drives_a_limit_is_grey_until_it_belongs_to_the_numbers_shown(file: Path) -> None:
    bench = Workbench.of(file)

    def shown() -> LeadShown | None:
        (row,) = rows(bench.study, bench.firming.standing, {}, bench.firming.leads, bench.firming.turn)
        return row.lead

    settled(bench.firming)
    drivers = (
        ("centre of gravity station", "?at=body#input-inputs.cg_station"),
        ("mass", "?at=body#input-inputs.mass"),
    )
    fresh = shown()
    assert fresh is not None
    assert tuple(one[:2] for one in fresh.drivers) == drivers
    assert not fresh.stale
    # The row says the verdict and what is asked itself.
    assert fresh.measure.startswith("measure first the ")
    assert "known so far" not in fresh.measure
    assert "required" not in fresh.measure
    said = " ".join(verdicts(bench).split())
    assert said.count("weighed on 8 000 cars: shares are good to a few hundredths") == 1
    # Rows may go on below what a window shows: the caution stands before them.
    assert said.index("It is never a clearance to run.") < said.index('<ol class="rows">')
    bench.change(lambda text: text.replace("sd = 5, ", "sd = 0.5, "))
    old = shown()
    assert old is not None
    assert old.stale
    assert old.drivers == fresh.drivers
    settled(bench.firming)
    anew = shown()
    assert anew is not None
    assert not anew.stale
    assert [one[0] for one in anew.drivers] == ["mass"]


def test_cautions_of_the_cars_follow_the_rows(file: Path) -> None:
    bench = Workbench.of(file)
    settled(bench.firming)
    assert bench.firming.cautions == (bench.firming.turn, ())
    bench.firming.cautions = bench.firming.turn - 1, ("ease off when the front wheels lift",)
    said = " ".join(verdicts(bench).split())
    assert said.index("</ol>") < said.index(
        "Before the last change: Ease off when the front wheels lift.</p>"
    )


def test_a_measurement_that_reads_nothing_is_refused_like_the_file(file: Path) -> None:
    bench = Workbench.of(file)
    with pytest.raises(SquatlineError, match="reads an uncertain input") as told:
        bench.change(lambda text: text + '\n[measurements.tape]\nreads = ["wheelbase"]\nhours = 1\n')
    assert told.value.key == "measurements.tape"
    with pytest.raises(SquatlineError, match=r"candidates\.light"):
        bench.change(lambda text: text + '\n[candidates.light]\nmas = "4 kg"\n')
    assert not bench.unsaved
