"""The study on the desk: its working text, undo, the saved state beside it, and nothing ever lost.

Every accepted change is written beside the study at once, into ``.squatline``, so that neither a lost page
nor a killed server takes it along; the study file itself is only written by ``save``.
"""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import RLock
from typing import TYPE_CHECKING

from explorer.analyses.two_levels import check_kinds_apart
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.design.exploration import prepare
from explorer.desk.at_work import AtWork
from explorer.desk.firming import Firming
from explorer.errors import SquatlineError, StudyError, read_all, with_file
from explorer.estimators.conformance import Conformance
from explorer.files.writing import told, write_whole
from explorer.results.folder import HIDDEN
from explorer.study.study import Study, load_study
from explorer.study.text import STUDY

if TYPE_CHECKING:
    from explorer.logs.fit_records import FitRecord
    from explorer.logs.fits import Fitted

MOST_STEPS_BACK = 100
WORKING_COPY = "desk-study.toml"


def digest(text: str) -> str:
    """Tell texts apart."""
    return hashlib.sha256(text.encode()).hexdigest()


def read_study(file: Path, text: str) -> Study:
    """Read a text as a study, and what ``squatline check`` reads beyond its limits and inputs.

    Raises
    ------
    SquatlineError
        With the words that the command line has for it.
    """
    study = load_study(file, text=text)
    with with_file(str(file)):
        read_all(study, (check_kinds_apart, ways_to_measure, prepare))
    return study


@dataclass
class Workbench:
    """One study being worked on.

    Attributes
    ----------
    file:
        The study file.
    saved, text:
        What the file held when it was read or saved last, and the text as it is now.
    study:
        The working text as a checked study; code of its own is never run.
    taken_up:
        Whether the text is what an earlier session had not saved.
    before:
        Limit -> how it stands in the saved study, as far as that was judged.
    found:
        Fit -> what it found in the study as it stands.
    """

    file: Path
    saved: str
    text: str
    study: Study
    taken_up: bool = False
    steps: list[str] = field(default_factory=list)
    before: dict[str, Conformance] = field(default_factory=dict)
    found: dict[str, FitRecord] = field(default_factory=dict)
    firming: Firming = field(default_factory=Firming)
    lock: RLock = field(default_factory=RLock)

    @classmethod
    def of(cls, file: Path, at_work: AtWork | None = None) -> Workbench:
        """Put a study on the desk, with what an earlier session has left unsaved.

        Parameters
        ----------
        at_work:
            The processes that judge it; without any it is judged in this one.

        Raises
        ------
        SquatlineError
            When the study cannot be read as one.
        """
        saved = STUDY.text(file)
        study = read_study(file, saved)
        bench = cls(file, saved, saved, study, firming=Firming(at_work=at_work or AtWork(0)))
        bench.firming.begin(study)
        if bench._copy.exists() and (left := STUDY.text(bench._copy)) != saved:
            bench._take_up(left)
        return bench

    @property
    def _copy(self) -> Path:
        return self.file.parent / HIDDEN / WORKING_COPY

    def _take_up(self, left: str) -> None:
        try:
            study = read_study(self.file, left)
        except SquatlineError:
            # A file it includes has changed since: it stays beside the study for its writer to look at.
            self._copy.rename(self._copy.with_suffix(".left.toml"))
            return
        self.firming.wait_for_first(60.0)
        self.note_before()
        self.steps, self.text, self.study, self.taken_up = [self.saved], left, study, True
        self.firming.begin(study)

    @property
    def unsaved(self) -> bool:
        """Whether the working text differs from the saved one."""
        return self.text != self.saved

    def on_disk(self) -> str:
        """Read the file as it is now; empty when it is gone."""
        try:
            return STUDY.text(self.file)
        except SquatlineError:
            return ""

    def change(self, edit: Callable[[str], str]) -> None:
        """Change the text, read it as a study and judge it anew; a text that is no study changes nothing.

        Raises
        ------
        SquatlineError
            With the words that the command line has for it.
        """
        with self.lock:
            text = edit(self.text)
            if text == self.text:
                return
            self._go_to(text, [*self.steps[-MOST_STEPS_BACK + 1 :], self.text])

    def fit(self, name: str) -> Fitted:
        """Fit a log of the study as it stands, and keep what was found to be looked at.

        Raises
        ------
        SquatlineError
            When its section or its log cannot be used.
        """
        from explorer.logs.fit_records import fit_record
        from explorer.logs.fits import fit

        study = self.study
        (fitted,) = fit(study, name)
        with self.lock:
            if study is self.study:
                self.found[name] = fit_record(fitted)
        return fitted

    def undo(self) -> None:
        """Go back by one change."""
        with self.lock:
            if self.steps:
                self._go_to(self.steps[-1], self.steps[:-1])

    def _go_to(self, text: str, steps: list[str]) -> None:
        study = read_study(self.file, text)
        self.note_before()
        with told("the working copy cannot be written", self._copy):
            self._copy.parent.mkdir(exist_ok=True)
        write_whole(self._copy, text)
        self.text, self.study, self.steps, self.found = text, study, steps, {}
        self.firming.begin(study)

    def note_before(self) -> None:
        """Keep how the limits stand in the saved study, for rows to be held against."""
        standing = self.firming.standing
        if self.text == self.saved and standing is not None and self.firming.current:
            pairs = zip(self.study.limits, standing.verdicts.limits, strict=True)
            self.before = {limit.name: found for limit, found in pairs}

    def difference(self) -> tuple[str, ...]:
        """List the lines by which saving would change the file as it is on the disk."""
        lines = difflib.unified_diff(
            self.on_disk().splitlines(), self.text.splitlines(), "on the disk", "on the desk", lineterm=""
        )
        return tuple(lines)

    def seen(self) -> str:
        """Name what a difference was shown of: the file on the disk and the text."""
        return digest(f"{digest(self.on_disk())} {digest(self.text)}")

    def save(self, seen: str) -> None:
        """Write the text into the study file, if the difference that was looked at is still the difference.

        Raises
        ------
        StudyError
            When the file or the text has changed since.
        ResultsError
            When the system refuses.
        """
        with self.lock:
            if seen != self.seen():
                raise StudyError(
                    "the file or the study on the desk has changed since this difference was shown",
                    file=str(self.file),
                    remedy="nothing was written: look at the difference below, then save again",
                )
            # A link stays one: what it leads to is written.
            write_whole(self.file.resolve(), self.text)
            self.saved, self.taken_up, self.before = self.text, False, {}
            self._copy.unlink(missing_ok=True)
            self.note_before()

    def take_from_disk(self) -> None:
        """Take over the file as it is on the disk, as a change that can be undone."""
        with self.lock:
            found = STUDY.text(self.file)
            self.change(lambda _: found)
            self.saved, self.taken_up, self.before = found, False, {}
            if not self.unsaved:
                self._copy.unlink(missing_ok=True)
