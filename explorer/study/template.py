"""The study that ``squatline new`` writes: complete, runnable, and commented line by line."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from explorer.errors import StudyError

STUDY_FILE = "study.toml"


def write_template(folder: Path) -> Path:
    """Write the commented study into a folder and return the file's path.

    Raises
    ------
    StudyError
        When the folder holds a study already, or cannot be written.
    """
    path = folder / STUDY_FILE
    if path.exists():
        raise StudyError(
            "there is a study here already",
            file=str(path),
            remedy="name another folder; nothing was overwritten",
        )
    text = files("explorer.study").joinpath("new_study.toml").read_text(encoding="utf-8")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise StudyError("the study cannot be written here", file=str(path), found=error.strerror) from None
    return path
