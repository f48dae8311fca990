"""Verdicts computed beside the page: a change takes the place of what is under way, at its next step."""

from __future__ import annotations

from dataclasses import dataclass, field
from threading import Condition, Thread

from explorer.analyses.live_verdicts import FIRST_CARS, JudgedSoFar, live_verdicts
from explorer.errors import SquatlineError
from explorer.study.study import Study

# A study with more inputs than this takes longer over each car, and is begun with fewer.
MANY_INPUTS, FEW_CARS = 80, 500


@dataclass
class Firming:
    """The latest standing of the latest study."""

    study: Study | None = None
    standing: JudgedSoFar | None = None
    error: str = ""
    turn: int = 0
    _of: int = 0
    _news: Condition = field(default_factory=Condition)

    def begin(self, study: Study) -> None:
        """Judge another study from now on; the standing of the one before stays until there is a new one."""
        with self._news:
            self.turn += 1
            self.study, self.error = study, ""
        Thread(target=self._judge, args=(study, self.turn), daemon=True).start()

    def stop(self) -> None:
        """Let go of what is under way."""
        with self._news:
            self.turn += 1
            self._news.notify_all()

    @property
    def current(self) -> bool:
        """Whether the standing belongs to the latest study."""
        return self._of == self.turn

    @property
    def over(self) -> bool:
        """Whether nothing more will come."""
        return bool(self.error) or (self.current and self.standing is not None and self.standing.over)

    def wait_for_first(self, patience: float) -> None:
        """Wait until the first cars of the latest study are judged, or for so many seconds."""
        with self._news:
            turn = self.turn
            self._news.wait_for(lambda: self.turn != turn or self.current or bool(self.error), patience)

    def _judge(self, study: Study, turn: int) -> None:
        try:
            many = sum(not one.default for one in study.all_inputs()) > MANY_INPUTS
            for standing in live_verdicts(study, first=FEW_CARS if many else FIRST_CARS):
                if not self._told(turn, standing):
                    return
        except SquatlineError as error:
            self._failed(turn, str(error))
        except Exception as error:  # a fault of the program is told on the page too, the server stays
            self._failed(turn, f"a fault of the program itself: {type(error).__name__}: {error}")

    def _told(self, turn: int, standing: JudgedSoFar) -> bool:
        with self._news:
            if turn != self.turn:
                return False
            self.standing, self._of = standing, turn
            self._news.notify_all()
            return True

    def _failed(self, turn: int, words: str) -> None:
        with self._news:
            if turn == self.turn:
                self.error = words
                self._news.notify_all()
