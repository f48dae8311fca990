"""The shape of the house: who may know whom, what is public, and what must not stand anywhere."""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path

from study_help import ROOT

import explorer
import reports

# What each package of explorer may import of the others; the command line may import everything.
MAY_KNOW = {
    "errors": set(),
    "files": {"errors"},
    "graph": {"errors", "files"},
    "model": {"errors", "graph"},
    "estimators": {"errors", "graph"},
    "study": {"errors", "files", "graph", "model"},
    "engine": {"errors", "files", "graph", "study", "estimators"},
    "results": {"errors", "files", "graph", "study", "engine", "estimators"},
}
MAY_KNOW["analyses"] = MAY_KNOW["results"] | {"results"}
MAY_KNOW["logs"] = MAY_KNOW["design"] = MAY_KNOW["analyses"] | {"analyses", "model"}
MAY_KNOW["pipeline"] = MAY_KNOW["analyses"] | {"analyses", "design", "logs", "model"}
# Estimators on arrays that stand in a package of another kind.
ESTIMATORS = (
    *sorted((ROOT / "explorer" / "estimators").glob("*.py")),
    *sorted((ROOT / "explorer" / "logs" / "fitting").glob("*.py")),
)
PLUMBING = {"study", "engine", "pipeline", "console", "results"}


@cache
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


def packages(names: set[str]) -> set[str]:
    """First name below ``explorer`` of each import."""
    return {name.split(".")[1] for name in names if name.startswith("explorer.")}


FILES = sorted((ROOT / "explorer").rglob("*.py"))


def package(path: Path) -> str:
    """Name of the package below ``explorer`` that a file stands in, or of the file itself."""
    return path.relative_to(ROOT / "explorer").parts[0].removesuffix(".py")


def strays(paths: Iterable[Path], stray: Callable[[Path], set[str]]) -> dict[str, set[str]]:
    """Return the files that know what they may not, and what that is."""
    found = {str(path.relative_to(ROOT)): stray(path) for path in paths}
    return {path: names for path, names in found.items() if names}


def test_packages_know_only_what_is_below() -> None:
    paths = [path for path in FILES if package(path) in MAY_KNOW]
    known = {path: MAY_KNOW[package(path)] | {package(path)} for path in paths}
    assert strays(paths, lambda path: packages(imports(path)) - known[path]) == {}


def test_every_package_has_its_place() -> None:
    assert {package(path) for path in FILES} - set(MAY_KNOW) <= {"__init__", "__main__", "console", "desk"}
    entries = {path.name for path in (ROOT / "explorer").glob("[!_]*")} - {"py.typed"}
    assert len(entries) <= 15


def test_no_class_name_has_two_meanings() -> None:
    paths = [*FILES, *sorted((ROOT / "reports").rglob("*.py"))]
    nodes = [node for path in paths for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))]
    names = Counter(node.name.lstrip("_") for node in nodes if isinstance(node, ast.ClassDef))
    assert [name for name, times in names.items() if times > 1] == []


def test_model_files_know_numpy_and_the_decorator() -> None:
    allowed = {"explorer.graph.quantity", "explorer.graph.tables", "explorer.errors", "explorer.graph.arrays"}
    paths = [path for path in FILES if package(path) == "model"]
    others = {
        path: {name for name in imports(path) if not name.startswith("explorer.model")} for path in paths
    }
    assert strays(paths, lambda path: others[path] - allowed) == {}


def test_estimators_know_no_study_and_no_engine() -> None:
    assert strays(ESTIMATORS, lambda path: packages(imports(path)) & PLUMBING) == {}


def test_only_the_console_knows_the_console() -> None:
    paths = [path for path in FILES if package(path) not in ("console", "__main__")]
    assert strays(paths, lambda path: packages(imports(path)) & {"console"}) == {}


def test_the_explorer_does_not_know_the_reports() -> None:
    paths = [path for path in FILES if package(path) not in ("console", "__main__", "desk")]
    assert strays(paths, lambda path: {one for one in imports(path) if one.startswith("reports")}) == {}


def test_reports_compute_nothing() -> None:
    forbidden = {"engine", "pipeline", "analyses", "model", "console"}
    allowed = {"explorer.engine.processes"}  # worker processes, for the charts
    paths = (ROOT / "reports").rglob("*.py")
    assert strays(paths, lambda path: packages(imports(path) - allowed) & forbidden) == {}


def test_the_public_surface_is_this() -> None:
    assert explorer.__all__ == sorted(explorer.__all__)
    assert explorer.__all__ == [
        "Results",
        "SquatlineError",
        "Study",
        "compare",
        "explore",
        "fit",
        "given",
        "given_table",
        "load_results",
        "load_study",
        "quantity",
        "run",
        "screen",
        "try_levers",
        "validate",
        "write_fit",
    ]
    assert all(hasattr(explorer, name) for name in explorer.__all__)
    assert reports.__all__ == sorted(reports.__all__)


def our_files() -> list[Path]:
    rooms = ("explorer", "reports", "studies", "tests")
    made = set((ROOT / "studies").glob("*/results/*"))
    below = [path for room in rooms for path in (ROOT / room).rglob("*") if path not in made]
    beside = [path for path in ROOT.iterdir() if path.suffix in (".md", ".toml")]
    left_out = {"vendor", "__pycache__"}
    suffixes = {".py", ".md", ".toml", ".html", ".css", ".js", ".csv"}
    written = (ROOT / "studies").glob("*/results/**/*")
    found = {p for p in below + beside if p.suffix in suffixes and not left_out & set(p.parts)}
    return sorted(found - set(written))


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
    from explorer.graph.graph import Graph
    from explorer.graph.units import known_unit
    from explorer.model import SUBJECTS, modules

    for subject, variants in SUBJECTS.items():
        for variant in variants:
            for entry in Graph.build(modules({subject: variant}), FAMILIES).quantities.values():
                known_unit(entry.unit)
                assert entry.summary.endswith("."), entry.name
                assert entry.is_given or entry.source, entry.name
