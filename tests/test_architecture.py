"""The shape of the house: who may know whom, what is public, and what must not stand anywhere."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from study_help import ROOT

import explorer
import reports

# What each room may import of the project; a room not named here is an estimator on arrays.
BASE = {"errors", "quantity"}
MAY_KNOW = {
    "errors": set(),
    "words": set(),
    "quantity": {"errors"},
    "graph": BASE,
    "program": BASE | {"graph"},
    "units": BASE,
    "distributions": BASE | {"units"},
    "uncertain": BASE | {"distributions", "units"},
    "sampling": BASE,
    "streaming": BASE | {"estimators"},
}
# Rooms of estimators on arrays, and the estimators that stand in a room of another kind.
ESTIMATORS = (
    *sorted((ROOT / "explorer" / "estimators").glob("*.py")),
    *sorted((ROOT / "explorer" / "track" / "fitting").glob("*.py")),
    *(
        ROOT / "explorer" / "choosing" / f"{name}.py"
        for name in ("assessment", "candidates", "designspace", "optimum", "ranges")
    ),
)
PLUMBING = {"study", "engine", "montecarlo", "runner", "console", "results"}


def imports(path: Path, lazily: bool = True) -> set[str]:
    """Modules of the project that a file imports; those inside functions too, when lazily."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = list(ast.walk(tree)) if lazily else list(tree.body)
    typing_only = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    found = set()
    for node in nodes:
        if isinstance(node, ast.ImportFrom) and node.module and id(node) not in typing_only:
            found.add(node.module)
        elif isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
    return {name for name in found if name.split(".")[0] in ("explorer", "reports")}


def rooms(names: set[str]) -> set[str]:
    """First name below ``explorer`` of each import."""
    return {name.split(".")[1] for name in names if name.startswith("explorer.")}


FILES = sorted((ROOT / "explorer").rglob("*.py"))


@pytest.mark.parametrize(
    "path", [p for p in FILES if p.stem in MAY_KNOW and p.parent.name == "explorer"], ids=lambda p: p.stem
)
def test_foundations_know_only_what_is_below(path: Path) -> None:
    assert rooms(imports(path)) <= MAY_KNOW[path.stem]


@pytest.mark.parametrize("path", sorted((ROOT / "explorer" / "model").glob("*.py")), ids=lambda p: p.stem)
def test_model_files_know_numpy_and_the_decorator(path: Path) -> None:
    allowed = {"quantity", "model", "errors"} if path.stem == "__init__" else {"quantity", "model", "tables"}
    assert rooms(imports(path)) <= allowed


@pytest.mark.parametrize("path", ESTIMATORS, ids=lambda p: p.stem)
def test_estimators_know_no_study_and_no_engine(path: Path) -> None:
    assert not rooms(imports(path)) & PLUMBING


@pytest.mark.parametrize("path", [p for p in FILES if p.parent.name != "console"], ids=lambda p: p.stem)
def test_only_the_console_knows_the_console(path: Path) -> None:
    assert "console" not in rooms(imports(path))


@pytest.mark.parametrize("path", [p for p in FILES if p.parent.name != "console"], ids=lambda p: p.stem)
def test_the_explorer_does_not_know_the_reports(path: Path) -> None:
    assert not {name for name in imports(path) if name.startswith("reports")}


@pytest.mark.parametrize("path", sorted((ROOT / "reports").rglob("*.py")), ids=lambda p: p.stem)
def test_reports_compute_nothing(path: Path) -> None:
    forbidden = {"engine", "montecarlo", "runner", "sampling", "program", "study", "model", "console"}
    assert not rooms(imports(path)) & forbidden


def test_the_public_surface_is_this() -> None:
    assert explorer.__all__ == sorted(explorer.__all__)
    assert explorer.__all__ == [
        "Results",
        "SquatlineError",
        "Study",
        "fit",
        "load_results",
        "load_study",
        "run",
        "validate",
        "write_fit",
    ]
    assert all(hasattr(explorer, name) for name in explorer.__all__)
    assert reports.__all__ == sorted(reports.__all__)


def our_files() -> list[Path]:
    rooms = ("explorer", "reports", "studies", "tests")
    below = [path for room in rooms for path in (ROOT / room).rglob("*")]
    beside = [path for path in ROOT.iterdir() if path.suffix in (".md", ".toml")]
    left_out = {"vendor", "results", "__pycache__"}
    suffixes = {".py", ".md", ".toml", ".html", ".css", ".js", ".csv"}
    return [p for p in below + beside if p.suffix in suffixes and not left_out & set(p.parts)]


def test_no_machine_path_stands_anywhere() -> None:
    machine = re.compile(r"/(?:home|Users|root|tmp)/\w")
    own = Path(__file__).name
    guilty = [
        p.name
        for p in our_files()
        if p.name != own and p.is_file() and machine.search(p.read_text(errors="ignore"))
    ]
    assert guilty == []


def test_every_quantity_has_a_unit_a_sentence_and_a_source() -> None:
    from explorer.console.explain import FAMILIES
    from explorer.graph import Graph
    from explorer.model import SUBJECTS, modules
    from explorer.units import known_unit

    for subject, variants in SUBJECTS.items():
        for variant in variants:
            for entry in Graph.build(modules({subject: variant}), FAMILIES).quantities.values():
                known_unit(entry.unit)
                assert entry.summary.endswith("."), entry.name
                assert entry.is_given or entry.source, entry.name
