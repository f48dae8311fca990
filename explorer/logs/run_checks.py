"""What a study's logs mean for its run: checked before it, and said in its summary.

The fits themselves belong to ``squatline fit``; a run only says what the files it includes have changed, and
whether the study explains the runs that were logged.
"""

from __future__ import annotations

from explorer.errors import Faults
from explorer.results.logged_runs import LoggedRunRecord
from explorer.study.study import Study


def check_logs(study: Study) -> None:
    """Check the sections of fits and logged runs without reading a log.

    Raises
    ------
    StudyError
        For the first fault of each, with its key.
    """
    faults = Faults()
    if study.entries.fits:
        from explorer.logs.fits import check_fits

        with faults.noted():
            check_fits(study)
    if study.entries.logged_runs:
        from explorer.logs.logged_runs import check_logged_runs

        with faults.noted():
            check_logged_runs(study)
    faults.tell()


def logged_runs_of(study: Study) -> tuple[LoggedRunRecord, ...]:
    """Hold the prediction against every logged run that the study names.

    Raises
    ------
    SquatlineError
        When the log of a logged run cannot be used, with file and key.
    """
    if not study.entries.logged_runs:
        return ()
    from explorer.logs.logged_runs import validate
    from explorer.logs.validation_records import track_records

    return track_records(study, validate(study))
