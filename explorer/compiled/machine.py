"""Machine code of a routine, by llvmlite, an optional library: nothing else has to be installed."""

from __future__ import annotations

import ctypes
import hashlib
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from explorer.compiled.text import BUILT_IN, LIBRARY, WIDTH
from explorer.graph.quantity import Array

COMPILER = "llvmlite"


def has_compiler() -> bool:
    """Tell whether the optional library is installed."""
    return find_spec(COMPILER) is not None


def run_routine(text: str, inputs: Sequence[Array | float], outputs: int, samples: int) -> Array:
    """Run a routine, compiled when it is met for the first time.

    Parameters
    ----------
    text:
        Of the routine.
    inputs:
        Arrays of that many samples each, or one number for all.
    outputs, samples:
        How many of each.

    Returns
    -------
    (outputs, samples)

    """
    whole = samples + -samples % WIDTH
    found = np.empty((outputs, whole))
    rows = [_row(one, samples, whole) for one in inputs]
    pointers = [row.ctypes.data for row in rows] + [found.ctypes.data + 8 * whole * k for k in range(outputs)]
    call, _ = _compiled(text)
    call((ctypes.c_void_p * len(pointers))(*pointers), whole)
    return found[:, :samples]


def _row(values: Array | float, samples: int, whole: int) -> Array:
    """Return samples as one piece of memory, the last one repeated up to whole vectors."""
    row = np.broadcast_to(np.asarray(values, dtype=float), (samples,))
    return np.ascontiguousarray(row if whole == samples else np.pad(row, (0, whole - samples), mode="edge"))


@cache
def _compiled(text: str) -> tuple[Callable[[Any, int], None], Any]:
    """Return a routine ready to be called, and what must live as long."""
    import llvmlite
    from llvmlite import binding as llvm

    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    library = ctypes.CDLL("ucrtbase" if sys.platform == "win32" else None)
    for name in (*LIBRARY.values(), *BUILT_IN.values()):
        llvm.add_symbol(name, ctypes.cast(getattr(library, name), ctypes.c_void_p).value)
    processor, features = llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten()
    target = llvm.Target.from_default_triple().create_target_machine(processor, features, opt=3)
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(text), target)
    made_with = f"{llvmlite.__version__} {llvm.llvm_version_info} {target.triple} {processor} {features}"
    name = hashlib.sha256(f"{made_with}\n{text}".encode()).hexdigest()
    engine.set_object_cache(lambda _, code: _keep(name, code), lambda _: _kept(name))
    engine.finalize_object()
    # A call through ctypes lets other threads run meanwhile.
    call = ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_int64)(engine.get_function_address("routine"))
    return call, engine


def _folder() -> Path:
    """Return the user's folder for what can be made again."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "squatline" / "routines"


def _kept(name: str) -> bytes | None:
    try:
        return (_folder() / name).read_bytes()
    except (OSError, RuntimeError):  # nothing there, or no home at all
        return None


def _keep(name: str, code: bytes) -> None:
    """Keep machine code for other processes and later runs, whole or not at all; it can be made again."""
    with suppress(OSError, RuntimeError):  # no room, no right, or no home at all
        folder = _folder()
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=folder, delete=False) as part:
            part.write(code)
        Path(part.name).replace(folder / name)
