"""The packet written from the desk: by the command line's own run, so that it is the same in every byte."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock, Thread

FORMS = {"report.html": "text/html; charset=utf-8", "report.pdf": "application/pdf"}
# What the page of the report may do: its own script, styles and pictures, and nothing with the desk.
REPORT_POLICY = (
    "sandbox allow-scripts allow-downloads; default-src 'none'; script-src 'unsafe-inline'; "
    "style-src 'unsafe-inline'; img-src data:; font-src data:"
)


@dataclass
class Packet:
    """One run of a study at a time, with what it said and how it ended (None while it is at work)."""

    file: Path
    words: str = ""
    status: int | None = None
    begun: bool = False
    _process: subprocess.Popen[str] | None = None
    _lock: Lock = field(default_factory=Lock)

    @property
    def at_work(self) -> bool:
        """Whether it is being written."""
        return self.begun and self.status is None

    @property
    def results(self) -> Path:
        """Where it is written to."""
        return self.file.parent / "results"

    def ready(self) -> tuple[str, ...]:
        """List its forms that are there."""
        return () if self.at_work else tuple(name for name in FORMS if (self.results / name).is_file())

    def begin(self, samples: int | None = None) -> None:
        """Start writing it, unless it is being written."""
        with self._lock:
            if self.at_work:
                return
            # Not from the folder one stands in: a file called explorer.py may lie there.
            command = [sys.executable, "-P", "-m", "explorer", "run", str(self.file)]
            command += ["--samples", str(samples)] if samples else []
            self.begun, self.status, self.words = True, None, ""
            self._process = subprocess.Popen(
                command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL, text=True
            )
            Thread(target=self._watch, args=(self._process,), daemon=True).start()

    def _watch(self, process: subprocess.Popen[str]) -> None:
        words, _ = process.communicate()
        self.words, self.status = words, process.returncode

    def stop(self) -> None:
        """Interrupt it, as ctrl-C would; it goes on where it was when it is started again."""
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()
            self._process.wait()
