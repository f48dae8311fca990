"""The study that ``squatline new`` writes: complete, runnable, and commented line by line."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from explorer.errors import StudyError
from explorer.files.writing import told, write_whole
from explorer.model import SUBJECTS
from explorer.study.text import STUDY_FILE

MOST_FLAPS = 3
SUSPENSIONS = ("wheel-rate", "spring")
_BLOCK = re.compile(r"^#if ([^\n]+)\n(.*?)^#end\n", re.DOTALL | re.MULTILINE)


@dataclass(frozen=True)
class CarHas:
    """What the car of a new study has.

    Attributes
    ----------
    flaps:
        Flaps on one servo whose mechanism is looked at; 0 for a wing with two positions and no more.
    drive, brakes:
        Variants of these models; no brakes are looked at when it is None.
    suspension:
        Whether springs are known, or only what they come to at a wheel.
    wake:
        Whether it follows another car.
    """

    flaps: int = 0
    drive: str = "power"
    brakes: str | None = None
    suspension: str = "wheel-rate"
    wake: bool = False

    def __post_init__(self) -> None:
        for key, found, allowed in (
            ("--flaps", self.flaps, range(MOST_FLAPS + 1)),
            ("--drive", self.drive, SUBJECTS["drive"]),
            ("--brakes", self.brakes, (None, *SUBJECTS["brakes"])),
            ("--suspension", self.suspension, SUSPENSIONS),
        ):
            if found not in allowed:
                raise StudyError(
                    "the car of a new study cannot have this",
                    key=key,
                    found=found,
                    allowed=", ".join(str(one) for one in allowed if one is not None),
                    remedy="take one of these; 'squatline new --help' says what each is",
                )

    @property
    def parts(self) -> set[str]:
        """Names of the blocks of the template that it needs."""
        fitted = self.brakes == "fitted"
        optional = {
            "flaps": self.flaps > 0,
            "wake": self.wake,
            "brakes": self.brakes is not None,
            "motor_brake": fitted and self.drive == "electric",
            "measured_motor_brake": fitted and self.drive != "electric",
        }
        return {
            self.drive,
            self.suspension,
            self.brakes or "",
            *(f"flap_{place}" for place in range(1, self.flaps + 1)),
            *(name for name, there in optional.items() if there),
        }


def template(car: CarHas) -> str:
    """Return the commented study of a car, with exactly what it needs."""
    text = files("explorer.study").joinpath("new_study.toml").read_text(encoding="utf-8")
    kept = _BLOCK.sub(lambda block: block[2] if car.parts & set(block[1].split()) else "", text)
    names = ", ".join(f'"flap_{place}"' for place in range(1, car.flaps + 1))
    filled = kept.replace("[FLAPS]", f"[{names}]").replace("BRAKES", car.brakes or "")
    return re.sub(r"\n{3,}", "\n\n", filled)


def write_template(folder: Path, car: CarHas | None = None) -> Path:
    """Write the commented study of a car into a folder and return the file's path.

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
    text = template(car or CarHas())
    with told("the study cannot be written here", folder):
        folder.mkdir(parents=True, exist_ok=True)
    write_whole(path, text)
    return path
