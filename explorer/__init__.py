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
    from explorer.analyses.screening import screen
    from explorer.design.comparison import compare
    from explorer.design.exploration import explore
    from explorer.design.levers import try_levers
    from explorer.graph.quantity import given, given_table, quantity
    from explorer.logs.fit_writing import write_fit
    from explorer.logs.fits import fit
    from explorer.logs.logged_runs import validate
    from explorer.pipeline import run
    from explorer.results.stored import Results, load_results
    from explorer.study.study import Study, load_study

__all__ = [
    "Results",
    "SquatlineError",
    "Study",
    "compare",
    "explore",
    "fit",
    "given",
    "given_table",
    "load_results",
    "load_study",
    "quantity",
    "run",
    "screen",
    "try_levers",
    "validate",
    "write_fit",
]

# Imported on first use, so that the command line answers at once.
_LATER = {
    "Results": "explorer.results.stored",
    "Study": "explorer.study.study",
    "compare": "explorer.design.comparison",
    "explore": "explorer.design.exploration",
    "fit": "explorer.logs.fits",
    "given": "explorer.graph.quantity",
    "given_table": "explorer.graph.quantity",
    "load_results": "explorer.results.stored",
    "load_study": "explorer.study.study",
    "quantity": "explorer.graph.quantity",
    "run": "explorer.pipeline",
    "screen": "explorer.analyses.screening",
    "try_levers": "explorer.design.levers",
    "validate": "explorer.logs.logged_runs",
    "write_fit": "explorer.logs.fit_writing",
}


def __getattr__(name: str) -> Any:
    if name in _LATER:
        import importlib

        return getattr(importlib.import_module(_LATER[name]), name)
    raise AttributeError(f"module 'explorer' has no attribute {name!r}")
