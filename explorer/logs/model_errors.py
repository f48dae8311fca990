"""The errors of models that logged runs tell, and the file by which a study takes them up."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from explorer.errors import ResultsError
from explorer.files.writing import told, write_whole
from explorer.graph.written import chance, rounded, rounded_spread
from explorer.logs.fits import FITTED_FOLDER
from explorer.logs.fitting.model_error import Discrepancy, ModelError, model_error
from explorer.logs.logged_runs import ComparedRun
from explorer.study.study import Study

FILE = f"{FITTED_FOLDER}/model_errors.toml"
_HEAD = "# Written by 'squatline validate'"


@dataclass(frozen=True)
class FoundError:
    """The error of the model of one quantity, from the runs that logged it; an offset is in ``unit``."""

    quantity: str
    unit: str
    runs: tuple[str, ...]
    error: ModelError

    @property
    def entry(self) -> str:
        """The line of the study that gives it."""
        mean, sd = rounded(self.error.mean, self.error.sd), rounded_spread(self.error.sd)
        unit = "" if self.error.kind == "factor" or self.unit == "1" else f', unit = "{self.unit}"'
        from_runs = (
            f"logged runs {', '.join(self.runs)}" if len(self.runs) > 1 else f"logged run {self.runs[0]}"
        )
        return (
            f"{self.quantity} = {{ {self.error.kind} = {{ mean = {mean}, sd = {sd}{unit} }}, "
            f'source = "{from_runs}" }}'
        )

    @property
    def words(self) -> str:
        """What it is made of, in a line."""
        share = self.error.from_inputs**2 / self.error.sd**2 if self.error.sd else 0.0
        return (
            f"as an error of the model: {self.entry}; {chance(share)} of its variance is what the inputs "
            "leave open, the rest is how it differs along the run"
        )


def found_errors(compared: Sequence[ComparedRun]) -> tuple[FoundError, ...]:
    """Return the error of every computed quantity that was logged, all its runs taken together."""
    return tuple(_found(compared))


def _found(compared: Sequence[ComparedRun]) -> Iterator[FoundError]:
    of: dict[str, list[tuple[ComparedRun, Discrepancy]]] = {}
    for one in compared:
        if one.departure is not None:
            of.setdefault(one.entry.quantity, []).append((one, one.departure))
    for quantity, runs in of.items():
        error = model_error([departure for _, departure in runs])
        yield FoundError(quantity, runs[0][0].unit, tuple(run.name for run, _ in runs), error)


def write_model_errors(study: Study, found: Sequence[FoundError]) -> Path:
    """Write the errors beside the study, for it to include; whole or not at all.

    Raises
    ------
    ResultsError
        When the file cannot be written, or is none that was written so.
    """
    path = study.folder / FILE
    with told("the errors of the models cannot be written", path):
        if path.is_symlink() or (path.exists() and not path.read_text(encoding="utf-8").startswith(_HEAD)):
            raise ResultsError(
                "a file that no comparison with logged runs has written stands where this one goes",
                file=str(path),
                remedy="move it away",
            )
        path.parent.mkdir(parents=True, exist_ok=True)
    head = (
        f"{_HEAD}; do not edit, write it again.",
        f'# The study takes it up with: include = ["{FILE}"]',
        "# The doubt about the inputs is in it and counts a second time beside them: on the safe side.",
    )
    write_whole(path, "\n".join([*head, "[model_errors]", *(one.entry for one in found), ""]))
    return path
