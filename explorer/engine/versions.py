"""What numbers depend on besides the study: this program's code and the libraries that compute."""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

COMPUTING = ("numpy", "scipy")


def installed(name: str) -> str:
    """Return the version of an installed distribution, or words that say that it is not there."""
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


@cache
def program_digest() -> str:
    """Digest of this program's own code: two checkouts of one version may differ."""
    digest = hashlib.sha256()
    root = Path(__file__).parents[1]
    for path in sorted(root.rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


@cache
def versions() -> dict[str, str]:
    """Return everything that two processes must have in common to compute the same numbers."""
    return {
        "squatline": f"{installed('squatline')} ({program_digest()[:12]})",
        "python": platform.python_version(),
        **{name: installed(name) for name in COMPUTING},
    }
