"""Changes to a study file that leave everything else in it as it stands, comments and order."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from explorer.errors import StudyError
from explorer.files.writing import write_whole
from explorer.study.text import STUDY, parsed


def add_includes(study: Path, files: Sequence[str]) -> None:
    """Have a study include further files.

    Raises
    ------
    StudyError
        When the study cannot be read, or cannot be changed without changing more of it.
    ResultsError
        When it cannot be written.
    """
    text = STUDY.text(study)
    changed, wanted = with_includes(text, files)
    write_changed(study, changed, wanted)


def with_includes(text: str, files: Sequence[str]) -> tuple[str, dict[str, Any]]:
    """Return the text of a study that includes further files, and what it then says."""
    before = parsed(text)
    present = before.get("include", [])
    wanted = before | {"include": list(dict.fromkeys([*present, *files]))}
    document = document_of(text)
    if "include" in document:
        for name in wanted["include"][len(present) :]:
            document["include"].append(name)
        return document.as_string(), wanted
    return f"include = {json.dumps(wanted['include'], ensure_ascii=False)}\n\n{text}", wanted


def write_changed(study: Path, text: str, wanted: dict[str, Any]) -> None:
    """Write the changed text of a study, once it says what it should and nothing else.

    Raises
    ------
    StudyError
        When it says something else.
    ResultsError
        When it cannot be written.
    """
    if parsed(text) != wanted:
        raise StudyError(
            "the study cannot be changed without changing more of it",
            file=str(study),
            remedy="change it by hand; nothing was written",
        )
    # A link stays one: what it leads to is written.
    write_whole(study.resolve(), text)


def document_of(text: str) -> Any:
    """Return the text of a study with all that stands between its keys, to be changed in place."""
    import tomlkit

    return tomlkit.parse(text)
