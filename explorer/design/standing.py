"""How many cars of a build stand on the road with a point of their body: what is compared is of such cars."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from explorer.engine.plan import make_plan
from explorer.graph.written import chance
from explorer.study.beside import STANDING, STANDING_AT_TOP
from explorer.study.builds import Build, place, scopes_of
from explorer.study.study import Study

SAMPLES = 4096


def standing_cars(study: Study, builds: Sequence[Build]) -> Iterator[str]:
    """Yield for each build which share of its cars stands on a point, and where; nothing where none does."""
    asked = [(name, where) for name, where in study.outputs if name in (STANDING, STANDING_AT_TOP)]
    if not asked:
        return
    wanted = [(name, place(build.name, where)) for build in builds for name, where in asked]
    plan = make_plan(study, wanted, scopes=scopes_of(study, builds))
    found = plan.evaluate(plan.random_chunk(0, SAMPLES))
    for build in builds:
        shares = [
            f"{chance(share)} {'at top speed ' if name == STANDING_AT_TOP else ''}in {where}"
            for name, where in asked
            if (share := float(np.nanmean(found[name, place(build.name, where)]))) > 0
        ]
        if shares:
            yield (
                f"{build.words}: of its cars {', '.join(shares)} stand on the road with a point of their "
                "body: all but limits of safety are judged there as of a car that scrapes"
            )
