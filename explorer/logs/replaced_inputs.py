"""What fitted logs have changed in a study: the inputs that included files replaced, before and after."""

from __future__ import annotations

import hashlib

from explorer.logs.fit_records import WrittenFit
from explorer.results.json import from_json
from explorer.results.logged_runs import Belief, FittedFile, ReplacedInput
from explorer.study.study import Included, Input, Study


def replaced_inputs(study: Study) -> tuple[FittedFile, ...]:
    """Return what the files that a study includes have changed."""
    study = study.on_any_day
    return tuple(
        FittedFile(
            file=one.file,
            inputs=tuple(_replaced(study, name, before) for name, before in one.before.items()),
            as_written=_as_written(study, one),
        )
        for one in study.included
        if one.before
    )


def _replaced(study: Study, name: str, before: Input | None) -> ReplacedInput:
    after = _belief(study.inputs[name])
    was = None if before is None or before.default else _belief(before)
    spread = was.sd if was is not None else 0.0
    return ReplacedInput(
        quantity=name,
        unit=study.graph[name].unit,
        display_unit=study.unit_of(name),
        before=was,
        after=after,
        moved_by=(after.mean - was.mean) / spread if was is not None and spread > 0 else None,
        narrowed_to=after.sd / spread if spread > 0 else None,
    )


def _belief(given: Input) -> Belief:
    return Belief(float(given.distribution.mean), float(given.distribution.sd), given.source)


def _as_written(study: Study, included: Included) -> bool:
    """Tell whether what the fit noted beside its file still belongs to it."""
    path = study.folder / included.file
    try:
        noted = from_json(WrittenFit, path.with_suffix(".json").read_text(encoding="utf-8"))
        return noted.block_sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    except (OSError, ValueError):
        return False
