"""The study that ``squatline new`` writes: complete, runnable, and commented line by line."""

from __future__ import annotations

import os
from importlib.resources import files
from pathlib import Path

from explorer.errors import StudyError
from explorer.files.writing import told, write_whole
from explorer.study.text import STUDY_FILE


def write_template(folder: Path) -> Path:
    """Write the commented study into a folder and return the file's path.

    Raises
    ------
    StudyError
        When the folder holds a study already.
    ResultsError
        When it cannot be written.
    """
    path = folder / STUDY_FILE
    if os.path.lexists(path):
        raise StudyError(
            "there is a study here already",
            file=str(path),
            remedy="name another folder; nothing was overwritten",
        )
    text = files("explorer.study").joinpath("new_study.toml").read_text(encoding="utf-8")
    with told("the study cannot be written here", folder):
        folder.mkdir(parents=True, exist_ok=True)
    write_whole(path, text)
    return path
