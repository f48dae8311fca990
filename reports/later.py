"""The library of charts, loaded when it is first used: what draws no chart need not wait for it."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import LazyLoader, find_spec, module_from_spec
from types import ModuleType
from typing import TYPE_CHECKING

__all__ = ["alt", "unchecked"]


def _later(name: str) -> ModuleType:
    if name in sys.modules:
        return sys.modules[name]
    spec = find_spec(name)
    if spec is None or spec.loader is None:
        raise ModuleNotFoundError(name)
    spec.loader = LazyLoader(spec.loader)
    module = module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


if TYPE_CHECKING:
    import altair as alt
else:
    alt = _later("altair")


@contextmanager
def unchecked() -> Iterator[None]:
    """Build charts without holding each piece against the schema, which the tests do, at no reader's cost."""
    from altair.utils.schemapi import debug_mode

    with debug_mode(False):
        yield
