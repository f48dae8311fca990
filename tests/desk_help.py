"""A desk at work for a test: the real server, at a free port, on a study in a folder of the test's own."""

from __future__ import annotations

import http.client
import shutil
import socket
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import uvicorn

from explorer.desk.firming import Firming
from explorer.desk.server import LOOPBACK, Desk
from tests.study_help import DEMO, SMALL

TOKEN = "a-token-of-the-test"
PATIENCE = 180.0


def judged(firming: Firming) -> None:
    """Wait until all cars of the latest study are judged."""
    with firming._news:
        assert firming._news.wait_for(lambda: firming.over, PATIENCE)


def settled(firming: Firming) -> None:
    """Wait until what drives the limits of the latest study is known too."""
    with firming._news:
        assert firming._news.wait_for(lambda: firming.settled, PATIENCE)


@dataclass
class Served:
    """A desk with its address, and what it answers to a request made by hand."""

    desk: Desk
    port: int

    @property
    def origin(self) -> str:
        """Scheme, host and port."""
        return f"http://{LOOPBACK}:{self.port}"

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"{self.origin}/{TOKEN}/"

    def ask(
        self,
        path: str = "",
        *,
        method: str = "GET",
        form: Mapping[str, str] | None = None,
        headers: Mapping[str, str] | None = None,
        token: str = TOKEN,
        body: bytes | str | None = None,
    ) -> tuple[int, str, Mapping[str, str]]:
        """Return status, text and headers (in small letters)."""
        sent = {"Host": f"{LOOPBACK}:{self.port}", **(headers or {})}
        if form is not None:
            method, body = "POST", urlencode(form)
            sent = {"Content-Type": "application/x-www-form-urlencoded", "Origin": self.origin} | sent
        connection = http.client.HTTPConnection(LOOPBACK, self.port, timeout=PATIENCE)
        connection.request(method, f"/{token}/{path}", body, sent)
        answer = connection.getresponse()
        text = answer.read().decode("utf-8", "replace")
        connection.close()
        return answer.status, text, {name.lower(): value for name, value in answer.getheaders()}

    def drop(self, name: str, content: bytes) -> tuple[int, str, Mapping[str, str]]:
        """Drop a log onto the desk, as a browser sends it."""
        head = f'Content-Disposition: form-data; name="log"; filename="{name}"\r\nContent-Type: text/csv'
        body = b"--edge\r\n" + head.encode() + b"\r\n\r\n" + content + b"\r\n--edge--\r\n"
        kind = {"Content-Type": "multipart/form-data; boundary=edge", "Origin": self.origin}
        return self.ask("log", method="POST", headers=kind, body=body)


@contextmanager
def serving(path: Path) -> Iterator[Served]:
    """Serve a desk while the test lasts."""
    desk = Desk(path, TOKEN)
    with socket.socket() as listening:
        listening.bind((LOOPBACK, 0))
        listening.listen()
        port = listening.getsockname()[1]
        server = uvicorn.Server(uvicorn.Config(desk.app(port), log_level="error", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            yield Served(desk, port)
        finally:
            desk.close()
            server.should_exit = True
            thread.join()


def small_study(folder: Path) -> Path:
    """Write the small study, with comments to lose."""
    text = "# kept by hand\n" + SMALL.format(inputs="", conditions="", limits="")
    (folder / "study.toml").write_text(text.replace('source = "test" }', 'source = "test" } # scales', 1))
    return folder


def demo_study(folder: Path) -> Path:
    """Copy the demo into a folder that may be written to."""
    shutil.copytree(DEMO, folder / "car", ignore=shutil.ignore_patterns("results"))
    return folder / "car"
