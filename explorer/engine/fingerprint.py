"""What numbers depend on, as one digest: what is kept belongs to it, and is stale when it has changed.

Words do not count: a comment, a title, a source, a reason.  Of a file counts what is in it, not its name.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable
from pathlib import Path
from typing import Any

import numpy as np

from explorer.engine.versions import versions
from explorer.study.study import Input, Study

# Sections on what to build: the run does not depend on them.
CHOOSING = ("candidates", "objectives", "decision", "design", "maps", "search", "highest_speed", "questions")
# Sections on what is asked of a car: no value of a sample depends on them.
ASKED = ("study", "limits", "outputs", "sweeps", "measurements", "measuring", "logged_runs")
# A log gives numbers when what was fitted is included, and the unit shown changes none.
_NO_NUMBERS = ("fits", "display")
# A run of other samples than the study asks for, as the command may want it, is one of that study.
_OF_THE_COMMAND = ("samples", "keep_samples")
_OF_A_STUDY = {"title", "description", "note", "assumptions", "not_modelled"}
_WORDS = _OF_A_STUDY | {"words", "why", "source", "label", "ask"}
_FILES = {"file", "own_quantities"}
# Where a distribution is looked at to tell whether it is still the same.
_PROBES = np.linspace(0.005, 0.995, 100)


def fingerprint(study: Study, leave_out: Collection[str] = ()) -> str:
    """Return the digest of what numbers of a study depend on: its entries, its data, the seed, the program.

    Parameters
    ----------
    leave_out:
        Sections that the numbers in question do not depend on.
    """
    said = study.entries.model_dump(exclude={*_NO_NUMBERS, *leave_out})
    for key in _OF_THE_COMMAND:
        said.get("study", {}).pop(key, None)
    before = [given for one in study.included for given in one.before.values() if given is not None]
    parts = (
        _numbers(said, study.folder),
        _numbers({"own_quantities": study.entries.study.own_quantities}, study.folder),
        study.seed,
        versions(),
        inputs_digest(study.all_inputs()),
        inputs_digest(before),
    )
    return hashlib.sha256(json.dumps(parts, sort_keys=True, default=str).encode()).hexdigest()


def _numbers(entry: Any, folder: Path) -> Any:
    """Leave out what are words, and put what is in a file in the place of its name."""
    if isinstance(entry, dict):
        return {
            key: _content(folder / value) if key in _FILES and value else _numbers(value, folder)
            for key, value in entry.items()
            if not (key in _WORDS and isinstance(value, (str, list, tuple)))
        }
    return [_numbers(one, folder) for one in entry] if isinstance(entry, (list, tuple)) else entry


def _content(file: Path) -> str | None:
    try:
        with file.open("rb") as data:
            return hashlib.file_digest(data, "sha256").hexdigest()
    except OSError:
        return None


def inputs_digest(inputs: Iterable[Input]) -> str:
    """Digest of some inputs: their keys, streams and distributions."""
    digest = hashlib.sha256()
    for given in inputs:
        digest.update(f"{given.key} {given.stream} {given.distribution.nominal!r}".encode())
        digest.update(np.asarray(given.distribution.quantile(_PROBES), float).tobytes())
    return digest.hexdigest()
