"""A library that is loaded when it is first used: what draws no chart need not wait for one."""

from __future__ import annotations

import sys
from importlib.util import LazyLoader, find_spec, module_from_spec
from types import ModuleType


def later(name: str) -> ModuleType:
    """Return a module of a library, to be loaded when something of it is asked for."""
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
