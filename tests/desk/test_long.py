"""What takes the desk longer: the packet, and a thousand changes."""

from __future__ import annotations

import http.client
import re
import signal
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from urllib.parse import urlencode

import psutil
import pytest

from explorer.desk.packet import FORMS
from explorer.desk.server import LOOPBACK
from explorer.desk.workbench import Workbench
from tests.desk_help import PATIENCE, judged, serving, small_study


@pytest.mark.long
def test_the_packet_is_what_the_report_command_writes(tmp_path: Path) -> None:
    with serving(small_study(tmp_path)) as served:
        assert served.ask("packet", form={"samples": "2000"})[0] == 303
        start = time.monotonic()
        while served.desk.packet.at_work and time.monotonic() - start < PATIENCE:
            time.sleep(0.2)
        assert served.desk.packet.status == 0, served.desk.packet.words
        written = {name: (tmp_path / "results" / name).read_bytes() for name in FORMS}
        status, _, headers = served.ask("report/report.html")
        assert status == 200
        assert headers["content-security-policy"].startswith("sandbox allow-scripts")
    subprocess.run([sys.executable, "-m", "explorer", "report", str(tmp_path / "results")], check=True)
    assert {name: (tmp_path / "results" / name).read_bytes() for name in FORMS} == written


@pytest.mark.long
def test_a_killed_server_takes_no_change_along(tmp_path: Path) -> None:
    folder = small_study(tmp_path)
    command = [sys.executable, "-m", "explorer", "desk", str(folder), "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        address = next(found[0] for line in process.stdout if (found := re.search(r"http://\S+/", line)))
        port, token = int(address.split(":")[2].split("/")[0]), address.split("/")[3]
        form = {"place": "inputs.mass", "room": "body", "kind": "one value", "value": "5.9 kg"}
        origin = {"Origin": f"http://{LOOPBACK}:{port}", "Content-Type": "application/x-www-form-urlencoded"}
        with closing(http.client.HTTPConnection(LOOPBACK, port, timeout=PATIENCE)) as connection:
            connection.request("POST", f"/{token}/entry", urlencode(form), origin)
            with connection.getresponse() as answer:
                assert answer.status == 303
        process.kill()
    assert process.returncode == -signal.SIGKILL
    assert "5.9" not in (folder / "study.toml").read_text()
    with serving(folder) as served:
        _, text, _ = served.ask("?at=save")
        assert "Changes from an earlier session" in text
        assert "5.9 kg" in text
        (seen,) = re.findall(r'name="seen" value="(\w+)"', text)
        assert served.ask("save", form={"seen": seen})[0] == 303
    assert "5.9 kg" in (folder / "study.toml").read_text()


@pytest.mark.long
def test_a_thousand_changes_leave_no_more_than_a_hundred(tmp_path: Path) -> None:
    bench = Workbench.of(small_study(tmp_path) / "study.toml")
    process, taken = psutil.Process(), []
    for step in range(1000):
        bench.change(
            lambda text, step=step: text.replace(f"mean = {5 + step / 1e4}", f"mean = {5 + (step + 1) / 1e4}")
        )
        if step % 10 == 0:
            bench.firming.wait_for_first(PATIENCE)
        if step in (200, 999):
            judged(bench.firming)
            taken.append(process.memory_info().rss)
    assert "mean = 5.1," in bench.text
    assert taken[1] - taken[0] < 20e6
