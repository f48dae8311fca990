"""Studies with logs of a test's own: a demo copied, a section and a made log added."""

from __future__ import annotations

import importlib.util
import shutil
from collections.abc import Mapping
from pathlib import Path
from types import ModuleType

import numpy as np

from explorer.graph.arrays import Array
from explorer.study.study import Study, load_study
from tests.study_help import AIRFIELD, DEMO
from tests.synthetic import Roughness, make_spring_test, random_stream


def copied(folder: Path, source: Path = AIRFIELD) -> Path:
    """Copy a demo study into a folder, its results left behind."""
    return Path(shutil.copytree(source, folder / source.name, ignore=shutil.ignore_patterns("results")))


def with_sections(study: Path, sections: str, first: str = "") -> Study:
    """Add sections at the end of a study, and lines at its beginning, and load it."""
    file = study / "study.toml"
    file.write_text(f"{first}\n{file.read_text(encoding='utf-8')}\n{sections}\n", encoding="utf-8")
    return load_study(study)


FRICTION = """
[inputs.contact_friction]
value = 0.3
source = "test"
"""


def on_points(folder: Path, change: tuple[str, str] = ("", ""), sections: str = FRICTION) -> Study:
    """Load the sprint car with points that carry."""
    study = copied(folder, DEMO)
    file = study / "study.toml"
    text = file.read_text(encoding="utf-8").replace(*change)
    text = text.replace('drive = "power"', 'drive = "power"\ncontact = "points"')
    file.write_text(text, encoding="utf-8")
    return with_sections(study, sections)


def write_columns(file: Path, columns: Mapping[str, np.ndarray]) -> Path:
    """Write a log; columns of unequal length end in empty cells."""
    length = max(len(values) for values in columns.values())
    rows = [
        ",".join(f"{values[i]:.9g}" if i < len(values) else "" for values in columns.values())
        for i in range(length)
    ]
    file.write_text("\n".join([",".join(columns), *rows]) + "\n", encoding="utf-8")
    return file


def maker_of_demo_logs() -> ModuleType:
    """Import the script that made the logs of the demo."""
    spec = importlib.util.spec_from_file_location("make_logs", AIRFIELD / "logs" / "make_logs.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


#: A splitter near the ground, for what more a test says of its gap.
NEAR_GROUND = """
[inputs.splitter_ground_gain]
mean = 0.8
sd = 0.15
source = "test"
[inputs.splitter_gap_at_rest]
mean = 9
sd = 1
unit = "mm"
source = "test"
"""

LOADS = 9.80665 * np.array([*np.arange(0, 4.1, 0.5), *np.arange(3.5, -0.1, -0.5)])
SPRING = """
[fits.mine]
kind = "spring_test"
rate = "rear_wheel_rate"
file = "mine.csv"
columns = { load = { column = "load", unit = "N" }, deflection = { column = "gauge", unit = "mm" } }
"""


def spring_log(folder: Path, rate: float, seed: int, noise: float = 5e-5) -> tuple[Array, Array, Array]:
    """Write a spring test on a rear wheel of known rate, as ``SPRING`` reads it, and return it."""
    made = make_spring_test(
        LOADS, rate=rate, friction=0.4, play=1e-4, rough=Roughness(noise=noise), random=random_stream(seed)
    )
    write_columns(folder / "mine.csv", {"load": made[0], "gauge": 1e3 * made[1]})
    return made
