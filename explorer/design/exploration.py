"""Everything a study asks about its design space, one thing after the other, each resumable."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from explorer.analyses.standing import standing_cars
from explorer.design.highest_speed import run_highest_speed
from explorer.design.inverse import PreparedQuestion, prepare_question, run_question
from explorer.design.maps import PreparedMap, prepare_map, run_map
from explorer.design.objectives import Objective, read_objectives, read_payoff
from explorer.design.search import run_search
from explorer.design.variables import Variable, read_variables
from explorer.engine.execution import Execution
from explorer.errors import Faults, StudyError, unknown
from explorer.results.exploration import AnswerRecord, Exploration, HighestSpeeds, MapRecord
from explorer.study.builds import AS_IT_STANDS, Build, read_builds
from explorer.study.study import Study

PARTS = ("speed", "questions", "maps", "search")


def parts_named(names: Collection[str] | None) -> tuple[str, ...]:
    """Return the parts of an exploration that are asked for, all of them by default.

    Raises
    ------
    StudyError
        When there is no such part.
    """
    for name in names or ():
        if name not in PARTS:
            raise unknown("an exploration has no such part", name, PARTS, "--only")
    return tuple(part for part in PARTS if not names or part in names)


@dataclass(frozen=True)
class Prepared:
    """What a study asks about its design space, found right."""

    variables: tuple[Variable, ...]
    objectives: tuple[Objective, ...]
    maps: tuple[PreparedMap, ...]
    questions: tuple[PreparedQuestion, ...]


def prepare(study: Study, build: Build = AS_IT_STANDS) -> Prepared:
    """Check every section about candidates and the design space, before anything long is begun.

    Raises
    ------
    StudyError
        For the first fault of each section.
    """
    faults, maps, questions = Faults(), [], []
    with faults.noted():
        read_builds(study)
    with faults.noted():
        objectives = read_objectives(study)
        read_payoff(study, objectives)
    with faults.noted():
        variables = read_variables(study, build)
        for k in range(len(study.entries.maps)):
            with faults.noted():
                maps.append(prepare_map(study, build, k))
        for k in range(len(study.entries.questions)):
            with faults.noted():
                questions.append(prepare_question(study, build, k))
    faults.tell()
    return Prepared(variables, objectives, tuple(maps), tuple(questions))


def _with_samples(study: Study, samples: int) -> Study:
    """Return the study with another number of samples in everything an exploration asks."""
    entries, wanted = study.entries, {"samples": samples}
    return replace(
        study,
        entries=entries.model_copy(
            update={
                "maps": [one.model_copy(update=wanted) for one in entries.maps],
                "questions": [one.model_copy(update=wanted) for one in entries.questions],
                "search": entries.search.model_copy(update=wanted),
                "highest_speed": entries.highest_speed.model_copy(update=wanted),
            }
        ),
    )


def explore(
    study: Study,
    *,
    build: Build = AS_IT_STANDS,
    parts: Collection[str] = PARTS,
    samples: int | None = None,
    execution: Execution | None = None,
) -> tuple[Exploration | None, HighestSpeeds | None]:
    """Explore the design space of a study around one build.

    Parameters
    ----------
    parts:
        What to do: "speed", "questions", "maps", "search".
    samples:
        Number of samples for every part instead of the study's own.
    execution:
        On which workers, told to whom, and where finished parts are kept; by default here and nowhere.

    Returns
    -------
    Exploration or None, HighestSpeeds or None
        None where the study asks nothing of the kind, or it was left out.

    Raises
    ------
    StudyError
        When a section is wrong, or nothing is asked.

    Notes
    -----
    A part that fails takes no other along: ``execution.stages`` and the notes say what failed, and why.
    """
    execution = execution or Execution()
    study = study if samples is None else _with_samples(study, samples)
    prepared = prepare(study, build)
    stages = execution.stages
    speeds: HighestSpeeds | None = None
    answers: list[AnswerRecord] = []
    maps: list[MapRecord] = []
    search, notes = None, []
    if "speed" in parts:
        with stages.analysis("highest speed"):
            speeds = run_highest_speed(study, build, execution)
    for question in prepared.questions if "questions" in parts else ():
        with stages.analysis(f"question: {question.ask}"):
            answers.append(run_question(question, execution))
    for one in prepared.maps if "maps" in parts else ():
        with stages.analysis(f"map: {one.name}"):
            maps.append(run_map(one, execution))
    if "search" in parts and prepared.variables:
        if prepared.objectives:
            with stages.analysis("best build"):
                search = run_search(study, build, prepared.variables, prepared.objectives, execution)
        else:
            notes.append("no [[objectives]] are set, so there is nothing to search the design variables for")
    notes += [*standing_cars(study, [build]), *(failure.words for failure in stages.failures)]
    asked = bool(answers or maps or search)
    if not asked and speeds is None:
        if stages.errors:
            raise stages.errors[0]
        raise StudyError(
            "there is nothing to explore",
            file=str(study.path),
            key="design",
            found=f"parts asked for: {', '.join(parts)}",
            remedy="give ranges as [design.NAME] and ask for [[maps]], [[questions]] or [[objectives]], or "
            "mark limits as safety = true",
        )
    if not asked:
        return None, speeds
    return Exploration(build.words, tuple(maps), search, tuple(answers), tuple(notes)), speeds


def found_conforming(exploration: Exploration | None, speeds: HighestSpeeds | None) -> bool:
    """Tell whether all that was asked found something that conforms: a build, a value, a region, a speed."""
    found = []
    if exploration is not None:
        found += [answer.choose is not None for answer in exploration.answers]
        found += [one.met > 0 for one in exploration.maps]
        search = exploration.search
        if search is not None:
            found.append(search.optimum is not None and search.optimum.verdict == "pass")
    if speeds is not None:
        found += [state.sure is not None for state in speeds.states]
    return all(found)
