"""PDF pages as pictures: none is empty, nothing runs off the paper."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from reports import render
from tests.report_fixture import make_results


def _pages(folder: Path) -> list[tuple[int, int, bytes]]:
    pdf = render(make_results(), folder, forms=("pdf",)).paths["pdf"]
    tool = shutil.which("pdftoppm")
    assert tool, "pdftoppm is part of poppler-utils (Debian: apt install poppler-utils)"
    subprocess.run([tool, "-r", "40", "-gray", str(pdf), str(folder / "page")], check=True)
    return [_grey(path.read_bytes()) for path in sorted(folder.glob("page-*.pgm"))]


def _grey(data: bytes) -> tuple[int, int, bytes]:
    """Read a portable greymap: magic number, width, height, largest value, then one byte a pixel."""
    magic, width, height, _largest, pixels = data.split(maxsplit=4)
    assert magic == b"P5"
    return int(width), int(height), pixels


@pytest.mark.long
def test_no_page_is_empty_and_the_margins_are(tmp_path: Path) -> None:
    pages = _pages(tmp_path)
    assert len(pages) > 4
    for number, (width, height, pixels) in enumerate(pages, 1):
        body = pixels[width * height // 12 : width * height * 11 // 12]
        # The last page may hold a few lines only.
        least = 0.0005 if number == len(pages) else 0.002
        assert sum(level < 128 for level in body) > least * len(body)
        edge = [
            pixels[row * width + column]
            for row in range(height)
            for column in (*range(8), *range(width - 8, width))
        ]
        assert min(edge) > 200
