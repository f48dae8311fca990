"""Verdicts, and what drives them, computed beside the page: a change takes the place of what is under way."""

from __future__ import annotations

from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from threading import Condition, Thread

from explorer.analyses.cautions_of_cars import live_cautions
from explorer.analyses.live_leads import Lead, live_leads
from explorer.analyses.live_verdicts import JudgedSoFar, live_verdicts
from explorer.desk.at_work import AtWork
from explorer.engine.execution import Execution
from explorer.engine.known_outputs import KnownOutputs
from explorer.engine.stages import told_for_users
from explorer.errors import SquatlineError
from explorer.graph.words import Sentence
from explorer.study.study import Study


@dataclass
class Firming:
    """The latest standing of the latest study.

    Attributes
    ----------
    leads:
        Limit -> which turn's study it belongs to, and what drives it; of an earlier one until there is a new
        one.
    cautions:
        Which turn's study they belong to, and what is to be known of the cars.
    settled:
        Whether nothing more will come.
    at_work:
        The processes that compute; without any it is done in this one.
    known:
        What was computed for earlier studies, of which a change leaves most as it is.
    """

    study: Study | None = None
    standing: JudgedSoFar | None = None
    leads: dict[str, tuple[int, Lead]] = field(default_factory=dict)
    cautions: tuple[int, tuple[Sentence, ...]] = (0, ())
    settled: bool = False
    error: str = ""
    turn: int = 0
    at_work: AtWork = field(default_factory=lambda: AtWork(0))
    known: KnownOutputs = field(default_factory=KnownOutputs)
    _of: int = 0
    _news: Condition = field(default_factory=Condition)

    def begin(self, study: Study) -> None:
        """Judge another study from now on; the standing of the one before stays until there is a new one."""
        with self._news:
            self.turn += 1
            self.study, self.error, self.settled = study, "", False
            execution = self.at_work.begin(study)
        Thread(target=self._judge, args=(study, self.turn, execution), daemon=True).start()

    def stop(self) -> None:
        """Let go of what is under way."""
        with self._news:
            self.turn += 1
            self._news.notify_all()
        self.at_work.end()

    @property
    def current(self) -> bool:
        """Whether the standing belongs to the latest study."""
        return self._of == self.turn

    @property
    def over(self) -> bool:
        """Whether no more cars will be judged."""
        return bool(self.error) or (self.current and self.standing is not None and self.standing.over)

    def wait_for_first(self, patience: float) -> None:
        """Wait until the first cars of the latest study are judged, or for so many seconds."""
        with self._news:
            turn = self.turn
            self._news.wait_for(lambda: self.turn != turn or self.current or bool(self.error), patience)

    def _judge(self, study: Study, turn: int, execution: Execution) -> None:
        try:
            for standing in live_verdicts(study, execution=execution, known=self.known):
                if not self._told(turn, standing):
                    return
                self.at_work.get_ready(study, execution)
            for lead in live_leads(study, execution=execution, known=self.known):
                if not self._led(turn, lead):
                    return
            self._settled(turn, live_cautions(study, execution))
        except BrokenProcessPool as error:
            self._failed(turn, str(told_for_users(error)))
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

    def _led(self, turn: int, lead: Lead) -> bool:
        with self._news:
            if turn != self.turn:
                return False
            self.leads[lead.limit] = (turn, lead)
            return True

    def _settled(self, turn: int, cautions: tuple[Sentence, ...]) -> None:
        with self._news:
            if turn == self.turn:
                self.cautions = turn, cautions
                self.leads = {name: one for name, one in self.leads.items() if one[0] == turn}
                self.settled = True
                self._news.notify_all()

    def _failed(self, turn: int, words: str) -> None:
        with self._news:
            if turn == self.turn:
                self.error, self.settled = words, True
                self._news.notify_all()
