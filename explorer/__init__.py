"""squatline: a Monte Carlo design-space explorer for fast electric model cars with a movable rear wing.

from explorer import load_study, run

study = load_study("studies/airfield-sprint")
results = run(study)
results.limits        # a data frame: required, found, interval, verdict
results.sensitivity   # a data frame: what drives each limit
results.samples       # a data frame: one row a sample
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from explorer.errors import SquatlineError

if TYPE_CHECKING:
    from explorer.results import Results, load_results
    from explorer.runner import run
    from explorer.study import Study, load_study
    from explorer.track.fit_writing import write_fit
    from explorer.track.fits import fit
    from explorer.track.tracks import validate

__all__ = [
    "Results",
    "SquatlineError",
    "Study",
    "fit",
    "load_results",
    "load_study",
    "run",
    "validate",
    "write_fit",
]

# Imported on first use, so that the command line answers at once.
_LATER = {
    "Results": "explorer.results",
    "Study": "explorer.study",
    "fit": "explorer.track.fits",
    "load_results": "explorer.results",
    "load_study": "explorer.study",
    "run": "explorer.runner",
    "validate": "explorer.track.tracks",
    "write_fit": "explorer.track.fit_writing",
}


def __getattr__(name: str) -> Any:
    if name in _LATER:
        import importlib

        return getattr(importlib.import_module(_LATER[name]), name)
    raise AttributeError(f"module 'explorer' has no attribute {name!r}")
