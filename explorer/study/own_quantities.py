"""Quantities of the user's own: their file run when allowed, and whatever goes wrong in it told by name."""

from __future__ import annotations

import importlib.util
import numbers
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import numpy.typing as npt

from explorer.errors import SquatlineError, StudyError
from explorer.files.characters import require_visible
from explorer.files.reading import Wanted
from explorer.graph.quantity import Quantity, quantities_of
from explorer.graph.units import known_unit

KEY = "study.own_quantities"
FILE = Wanted("file with quantities of your own", 1_000_000)


def own_modules(name: str | None, folder: Path, allow_code: bool) -> list[ModuleType]:
    """Run the Python file that a study names, if it names one.

    Raises
    ------
    StudyError
        When it may not be run, cannot be run, or declares what is no quantity.
    """
    if name is None:
        return []
    if not allow_code:
        raise StudyError(
            "the study names a Python file of its own, and running it runs whatever is in it",
            key=KEY,
            found=name,
            remedy="read that file, then allow it with --allow-code (in Python: allow_code=True)",
        )
    path = folder / name
    try:
        FILE.size(path)
    except SquatlineError as error:
        raise error.within(key=KEY) from None
    spec = importlib.util.spec_from_file_location(path.stem, path)
    if spec is None or spec.loader is None:
        raise StudyError("this is no Python file", key=KEY, found=name, allowed="a file called NAME.py")
    module = importlib.util.module_from_spec(spec)
    try:
        spec.loader.exec_module(module)
        _guard(module, str(path))
        require_visible({one.name: _texts(one) for one in quantities_of(module)}, StudyError)
    except SquatlineError as error:
        raise error.within(file=str(path)) from None
    except (Exception, SystemExit) as error:  # the user's own file may raise anything
        raise StudyError(
            "the file with quantities of your own cannot be run",
            key=KEY,
            found=_said(error, path),
            remedy=f"run 'python {path}' to see where",
        ) from error
    return [module]


def _guard(module: ModuleType, file: str) -> None:
    """Check what a module declares, and have its functions answer for what they return."""
    for name, value in vars(module).items():
        declared = getattr(value, "__quantity__", value)
        if not isinstance(declared, Quantity):
            continue
        for one in (declared, *declared.parts):
            _check_unit(one.name or name, one.unit)
        if declared is value:
            for key in ("default", "above", "at_least", "at_most"):
                _check_number(name, key, getattr(declared, key))
        elif value.__module__ == module.__name__ and declared.function is not None:
            fields = tuple(part.name for part in declared.parts) if declared.record else None
            value.__quantity__ = replace(
                declared, function=OwnFunction(name, file, declared.function, fields)
            )


def _texts(declared: Quantity) -> list[str]:
    return [declared.unit, declared.summary, declared.description, declared.source, declared.fails]


def _check_unit(name: str, unit: object) -> None:
    if not isinstance(unit, str):
        raise StudyError("the unit of a quantity is text", key=name, found=repr(unit), allowed='"N*m" or "1"')
    try:
        known_unit(unit)
    except SquatlineError as error:
        raise error.within(key=name) from None


def _check_number(name: str, key: str, value: object) -> None:
    if value is not None and not isinstance(value, numbers.Real):
        raise StudyError(
            "a default and a bound are numbers in SI units", key=f"{name}: {key}", found=repr(value)[:80]
        )


@dataclass(frozen=True)
class OwnFunction:
    """A function of the user's own: what it raises, or returns in the wrong shape, is told by its name.

    ``fields`` are those of the named tuple it returns that are quantities; None where it returns one value.
    """

    name: str
    file: str
    function: Callable[..., Any]
    fields: tuple[str, ...] | None = None

    def __call__(self, *arguments: Any) -> Any:
        """Evaluate it.

        Raises
        ------
        StudyError
            When it raises anything, or returns what is no number or array of numbers for the samples.
        """
        try:
            result = self.function(*arguments)
            values = [result] if self.fields is None else [getattr(result, name) for name in self.fields]
            found = [np.asarray(value) for value in values]
        except SquatlineError as error:
            raise error.within(file=self.file, key=self.name) from None
        except (Exception, SystemExit) as error:  # the user's own function may raise anything
            raise self._wrong("raised an error", _said(error, Path(self.file))) from error
        for one in found:
            self._check(one, arguments)
        return result

    def _check(self, found: npt.NDArray[Any], arguments: Sequence[Any]) -> None:
        if found.dtype.kind not in "biuf":
            raise self._wrong("returned no numbers", repr(found.tolist())[:80])
        widest = np.broadcast_shapes(*(np.shape(one) for one in arguments))
        # Curves bring samples of their own: what they return is not known from the other arguments.
        fits = found.ndim <= len(widest) and found.shape[-1:] in ((), (1,), widest[-1:])
        if not fits and not any(callable(one) for one in arguments):
            raise self._wrong("returned numbers of the wrong shape", f"{found.shape} from arguments {widest}")

    def _wrong(self, problem: str, found: str) -> StudyError:
        return StudyError(
            f"the quantity {self.name!r} of your own {problem}",
            file=self.file,
            key=self.name,
            found=found,
            allowed="one number a sample: arguments are arrays of them, or numbers",
            remedy="write it element by element, with numpy's functions and np.where in place of if",
        )


def _said(error: BaseException, path: Path) -> str:
    """Say what was raised, and in which line of the file."""
    line, trace = "", error.__traceback__
    while trace is not None:
        if trace.tb_frame.f_code.co_filename == str(path):
            line = f" (line {trace.tb_lineno})"
        trace = trace.tb_next
    return f"{type(error).__name__}: {error}{line}"
