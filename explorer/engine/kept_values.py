"""What the model said of cars, and pictures of charts, kept by content, so that nothing is made twice.

An evaluation hangs on the program, its fixed values and the cars drawn, and on nothing else: their digest is
the name of the file.  A limit that asks something else of the same cars finds them there.  Each file is
sealed with a key of this machine and user, so that one that is damaged, or comes from elsewhere, is computed
anew instead of believed.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import shutil
import uuid
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from itertools import count
from pathlib import Path

import numpy as np

from explorer.files.writing import whole
from explorer.graph.arrays import Array

VALUES = "values"
# All of them together, and after how many files each process looks whether there is room.
MOST_BYTES = 2**28
LOOK_AFTER = 16
_SEAL = 32
_files = count()


@dataclass(frozen=True)
class KeptValues:
    """A folder of evaluations.

    Attributes
    ----------
    folder:
        Where they lie; made with the first.
    owner:
        Fingerprint of what they hang on beside the program's calls, its fixed values and the cars.
    """

    folder: Path
    owner: str

    def name(self, program: str, drawn: Mapping[str, Array]) -> str:
        """Return the name of an evaluation of a program on some cars."""
        digest = hashlib.blake2b(f"{self.owner} {program}".encode(), digest_size=32)
        for key, values in drawn.items():
            digest.update(f" {key} {np.shape(values)} ".encode())
            digest.update(np.ascontiguousarray(values, float).data)
        return digest.hexdigest()

    def get(self, name: str, shape: tuple[int, ...]) -> Array | None:
        """Return an evaluation, or None where there is none of this shape that can be trusted."""
        length = 8 * int(np.prod(shape))
        data = self.read(name, length)
        return np.frombuffer(data, float).reshape(shape).copy() if data and len(data) == length else None

    def read(self, name: str, most: int) -> bytes | None:
        """Return what is kept, of so many bytes at most, or None where there is nothing to be trusted."""
        file = self.folder / name
        try:
            with open(os.open(file, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK), "rb") as kept:
                sealed = kept.read(_SEAL + most + 1)
            data = sealed[_SEAL:]
            if len(data) > most or not hmac.compare_digest(sealed[:_SEAL], _sealed(name, data)):
                return None
            os.utime(file)  # those that served last are the last to go
        except OSError:
            return None
        return data

    def put(self, name: str, values: Array) -> None:
        """Keep an evaluation."""
        self.write(name, np.ascontiguousarray(values, float).tobytes())

    def write(self, name: str, data: bytes) -> None:
        """Keep something, whole or not at all; where that cannot be, nothing but time is lost."""
        if next(_files) % LOOK_AFTER == 0:
            _room.cache_clear()
        with suppress(OSError):
            if _room(self.folder) and not self.folder.is_symlink():
                self.folder.mkdir(parents=True, exist_ok=True)
                with whole(self.folder / name, lasting=False) as fresh:
                    fresh.write_bytes(_sealed(name, data) + data)

    def tidy(self) -> None:
        """Remove what is half written, and the longest unused beyond half of the room there is."""
        with suppress(OSError):
            files = sorted(((one.stat(), one) for one in _listed(self.folder)), key=lambda f: -f[0].st_mtime)
            held = 0
            for about, one in files:
                held += about.st_size
                if held > MOST_BYTES // 2 or one.name.endswith(".part"):
                    os.unlink(one.path)

    def forget(self) -> None:
        """Remove all of them."""
        if self.folder.is_symlink():
            self.folder.unlink()
        shutil.rmtree(self.folder, ignore_errors=True)


def _listed(folder: Path) -> list[os.DirEntry[str]]:
    if folder.is_symlink():
        return []
    with os.scandir(folder) as entries:
        return [one for one in entries if not one.is_dir(follow_symlinks=False)]


@cache
def _room(folder: Path) -> bool:
    if not folder.exists():
        return True
    return sum(one.stat(follow_symlinks=False).st_size for one in _listed(folder)) < MOST_BYTES


def _sealed(name: str, data: bytes) -> bytes:
    return hashlib.blake2b(name.encode() + data, key=_key(), digest_size=_SEAL).digest()


@cache
def _key() -> bytes:
    """Return what nobody knows who packs a results folder elsewhere: this machine and its user."""
    try:
        machine = Path("/etc/machine-id").read_text(encoding="ascii")
    except (OSError, ValueError):
        machine = ""
    return hashlib.sha256(f"{machine} {uuid.getnode()} {os.getuid()}".encode()).digest()
