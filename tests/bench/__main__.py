"""Print the table of benchmarks: ``python -m tests.bench``, with ``--full`` for the long ones as well.

Every figure is a ratio or an order of growth; times of two jobs are taken by turns, most in the processor
time of the thread that runs them.  Names of groups, such as ``hand`` or ``memory``, print just those.
"""

from __future__ import annotations

import os
import platform
import sys

# As the command line does: threads of the linear algebra library only get in the way.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def main() -> None:
    """Print each figure as it is found."""
    from explorer.engine.processes import default_workers

    from . import engine, estimators, rare, whole

    groups = {
        "hand": engine.against_hand,
        "chunks": engine.chunk_length,
        "growth": engine.growth,
        "workers": engine.workers,
        "sobol": estimators.sobol_against_salib,
        "quantiles": estimators.quantiles,
        "openturns": estimators.openturns,
        "rare": rare.rare,
        "memory": whole.memory,
        "billion": whole.billion,
        "stages": whole.stages,
        "computing": whole.computing,
        "kills": whole.kills,
    }
    full = "--full" in sys.argv
    chosen = [name for name in sys.argv[1:] if name in groups] or list(groups)
    print(f"Python {platform.python_version()}, {default_workers()} processors, {platform.platform()}")
    for name in chosen:
        for words, value in groups[name](full):
            print(f"{words:<100} {value}", flush=True)


if __name__ == "__main__":
    main()
