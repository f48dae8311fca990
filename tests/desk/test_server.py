"""What the server answers, to its own pages and to everybody else."""

from __future__ import annotations

import contextlib
import re
import socket
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest

from explorer.console.cli import app
from explorer.desk.firming import Firming
from explorer.desk.gate import MOST_BYTES
from explorer.desk.pages import MOST_AT_ONCE
from explorer.desk.server import Desk
from explorer.errors import SquatlineError
from explorer.study.template import CarHas, template
from tests.desk_help import LOOPBACK, TOKEN, Served, serving, small_study


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with serving(small_study(tmp_path_factory.mktemp("desk"))) as desk:
        yield desk


MASS = {"place": "inputs.mass", "room": "body", "kind": "standard deviation", "mean": "5.2", "sd": "0.1"}


def test_the_page_and_all_it_asks_for(served: Served) -> None:
    status, text, headers = served.ask("?at=body")
    assert status == 200
    assert "How the limits stand" in text
    assert "unsafe" not in headers["content-security-policy"]
    assert "default-src 'none'" in headers["content-security-policy"]
    for name in ("desk.css", "files/htmx.js", "files/regular.woff2", "files/semibold.woff2", "rows"):
        assert served.ask(name)[0] == 200
    assert "style=" not in text.replace('charset="utf-8"', "")
    assert re.findall(r"<script(?![^>]* src=)", text) == []


@pytest.mark.parametrize("token", ["", "another", TOKEN[:-1], TOKEN + "x", "%00"])
def test_without_the_token_there_is_nothing(served: Served, token: str) -> None:
    status, text, _ = served.ask("?at=body", token=token)
    assert status == 404
    assert "Small" not in text


@pytest.mark.parametrize("host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", ""])
def test_under_a_foreign_name_nothing_is_answered(served: Served, host: str) -> None:
    status, text, _ = served.ask(headers={"Host": host.format(port=served.port)})
    assert status in (400, 421)
    assert "Small" not in text


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://127.0.0.1:1"]
)
def test_what_a_foreign_page_sends_changes_nothing(served: Served, origin: str) -> None:
    before = served.desk._bench.text
    answer = served.ask("entry", form=MASS, headers={"Origin": origin.format(port=served.port)})
    assert answer[0] == 403
    assert served.ask(headers={"Origin": origin.format(port=served.port)})[0] == 403
    assert served.desk._bench.text == before


def test_a_form_without_an_origin_changes_nothing(served: Served) -> None:
    before = served.desk._bench.text
    assert served.ask("entry", method="POST")[0] == 403
    assert served.ask("entry", method="PUT")[0] == 403
    assert served.desk._bench.text == before


@pytest.mark.parametrize(
    "path",
    [
        "files/../../../study.toml",
        "files/%2e%2e%2fserver.py",
        "report/..%2f..%2fstudy.toml",
        "report/x",
        "files/",
    ],
)
def test_no_path_leads_out_of_what_is_served(served: Served, path: str) -> None:
    status, text, _ = served.ask(path)
    assert status == 404
    assert "[study]" not in text


def test_too_much_is_refused_before_it_is_read(served: Served) -> None:
    status, text = _answered(served, 1_000_000_000)
    assert status == 413
    assert f"{MOST_BYTES // 1_000_000} MB" in text
    assert _answered(served, -1)[0] in (400, 413)


def _answered(served: Served, length: int) -> tuple[int, str]:
    """Ask until an answer comes: a server that hangs up on unread bytes may take its answer along."""
    while True:
        with contextlib.suppress(ConnectionError):
            status, text, _ = served.ask("text", form={"text": ""}, headers={"Content-Length": str(length)})
            return status, text


def test_too_much_without_a_length_is_cut_off(served: Served) -> None:
    head = (
        f"POST /{TOKEN}/text HTTP/1.1\r\nHost: {LOOPBACK}:{served.port}\r\nOrigin: {served.origin}\r\n"
        "Content-Type: application/x-www-form-urlencoded\r\nTransfer-Encoding: chunked\r\n\r\n"
    )
    block = b"text=" + b"a" * 999_995
    with socket.create_connection((LOOPBACK, served.port), timeout=180) as connection:
        connection.sendall(head.encode())
        sent = 0
        try:
            for _ in range(2 * MOST_BYTES // len(block)):
                connection.sendall(b"%x\r\n%b\r\n" % (len(block), block))
                sent += len(block)
            connection.sendall(b"0\r\n\r\n")
            answer = connection.recv(100)
        except OSError:
            answer = b""  # it has hung up
    assert b" 200 " not in answer
    assert b" 303 " not in answer
    assert served.ask()[0] == 200


def test_a_change_is_taken_and_shown(tmp_path: Path) -> None:
    with serving(small_study(tmp_path)) as served:
        status, _, headers = served.ask("entry", form=MASS | {"unit": "kg", "source": "test"})
        assert (status, headers["location"]) == (303, f"/{TOKEN}/?at=body")
        _, text, _ = served.ask("?at=save")
        assert "changed, not saved" in text
        assert "+mass = { mean = 5.2, sd = 0.1" in text
        seen = re.search(r'name="seen" value="(\w+)"', text)
        assert seen is not None
        assert served.ask("save", form={"seen": seen[1]})[0] == 303
        assert "mean = 5.2" in (tmp_path / "study.toml").read_text()
        assert (tmp_path / "study.toml").read_text().startswith("# kept by hand\n")


def test_bad_input_is_told_as_in_the_file_and_changes_nothing(served: Served) -> None:
    before = served.desk._bench.text
    status, text, _ = served.ask("entry", form=MASS | {"unit": "mm"})
    assert status == 422
    with pytest.raises(SquatlineError) as told:
        served.desk._bench.change(
            lambda one: one.replace('mean = 5.0, sd = 0.1, unit = "kg"', 'mean = 5.2, sd = 0.1, unit = "mm"')
        )
    assert told.value.problem in text.replace("&#39;", "'")
    assert 'value="5.2"' in text
    assert served.desk._bench.text == before


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"mean": "1" * 400}, "a whole number is too large"),
        ({"place": "inputs.nothing"}, "no quantity is called &#39;nothing&#39;"),
    ],
)
def test_no_refusal_is_kept_from_who_sent_it(served: Served, changed: dict[str, str], told: str) -> None:
    status, text, _ = served.ask("entry", form=MASS | changed)
    assert status == 422
    assert told in text


def test_every_kind_of_table_comes_changes_is_renamed_and_goes(tmp_path: Path) -> None:
    folder = small_study(tmp_path)
    with serving(folder) as served:
        bench = served.desk._bench
        first = bench.text

        def send(place: str, path: str = "keys", **sent: str) -> tuple[int, str]:
            keys = {f"key.{key}": value for key, value in sent.items() if key not in ("name_", "more")}
            more = dict(zip(("more", "more_value"), sent.get("more", "").split("=", 1), strict=False))
            form = {
                "place": place,
                "room": place.split(".")[0],
                "name": sent.get("name_", ""),
                **keys,
                **more,
            }
            status, text, _ = served.ask(path, form=form)
            return status, text

        new = {"quantity": "weight", "condition": "rest", "at_most": "60 N", "safety": "true"}
        assert send("limits.1", name="Light", **new)[0] == 303
        assert bench.study.limits[1].safety
        assert send("limits.1", name="Lighter", at_most="55 N")[0] == 303
        assert send("conditions.", name_="moving", like="rest", more="speed=40 m/s")[0] == 303
        assert send("limits.1", name="Lighter", condition="moving")[0] == 303
        assert send("conditions.moving", name_="going", words="at speed")[0] == 303
        assert bench.study.limits[1].output.condition == "going"
        assert send("candidates.", name_="light", words="lighter", more="mass=4.5 kg")[0] == 303
        override = {"place": "candidates.light.mass", "room": "candidates", "kind": "one value"}
        assert served.ask("entry", form={**override, "value": "4.4", "unit": "kg"})[0] == 303
        assert send("measurements.", name_="scales", take="kitchen_scales")[0] == 303
        text = served.ask("?at=candidates")[1]
        assert 'id="input-candidates.light.mass"' in text
        status, text = send("measurements.scales", name_="scales", take="kitchen_scales", hours="-1")
        assert status == 422
        assert "a measurement takes time" in text
        assert re.search(r'name="key.hours" value="-1"[^>]* aria-invalid="true"', text)
        assert len(re.findall("aria-invalid", text)) == 1
        status, text = send("conditions.going", name_="rest")
        assert (status, "there is one of that name" in text) == (422, True)
        for place in ("limits.1", "conditions.going", "candidates.light", "measurements.scales"):
            assert send(place, "remove") == (303, "")
        assert bench.text.split() == first.split()


@pytest.mark.parametrize(
    "name",
    [
        "entry",
        "keys",
        "remove",
        "text",
        "candidate",
        "undo",
        "save",
        "reload",
        "packet",
        "log",
        "map",
        "fit",
        "take",
    ],
)
def test_an_address_of_a_form_leads_back_to_the_page(served: Served, name: str) -> None:
    status, _, headers = served.ask(name)
    assert status == 303
    assert headers["location"].startswith(f"/{TOKEN}/?at=")


SCRIPT = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>"


def test_a_program_in_every_text_stays_text(tmp_path: Path) -> None:
    folder = small_study(tmp_path)
    file = folder / "study.toml"
    hostile = SCRIPT.replace('"', '\\"')
    text = (
        file.read_text()
        .replace('"Small"', f'"{hostile}"')
        .replace('source = "test"', f'source = "{hostile}"')
    )
    text = text.replace('name = "front load"', f'name = "{hostile}"\nwhy = "{hostile}"')
    file.write_text(text + f'\n[candidates.one]\nwords = "{hostile}"\n')
    with serving(folder) as served:
        shown = [served.ask(f"?at={room}&find={find}")[1] for room in ROOMS for find in ("", "%3Cscript%3E")]
        sent = dict.fromkeys(("kind", "mean", "sd", "value", "unit", "source", "text"), SCRIPT)
        shown.append(served.ask("entry", form=MASS | {"source": SCRIPT, "unit": SCRIPT})[1])
        shown.append(served.ask("entry", form=MASS | sent)[1])
        shown.append(served.ask("text", form={"room": "file", "text": SCRIPT})[1])
        shown.append(
            served.ask("keys", form={"place": "limits.0", "room": "limits", "key.quantity": SCRIPT})[1]
        )
        shown.append(served.ask("candidate", form={"name": SCRIPT, "room": "candidates"})[1])
        shown.append(served.ask("rows")[1])
    for page in shown:
        assert "<script>" not in page
        assert "<img" not in page
    assert "&lt;script&gt;" in shown[0]


ROOMS = (
    "body",
    "limits",
    "conditions",
    "candidates",
    "measurements",
    "logs",
    "file",
    "save",
    "packet",
    "<script>",
)


class Forms(HTMLParser):
    """The forms of a page: where each is sent, its fields with their values, and which of them are texts."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.fields: dict[str, str] = {}
        self.texts: list[str] = []
        self.last = ""
        self.found: list[tuple[str, dict[str, str], list[str]]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, given: list[tuple[str, str | None]]) -> None:
        """Note a form, a field, or what is chosen in one."""
        about = {name: value or "" for name, value in given}
        if tag == "form":
            self.fields, self.texts = {}, []
            if about.get("method") == "post":
                self.found.append((about["action"], self.fields, self.texts))
        elif tag == "option" and "selected" in about:
            self.fields[self.last] = about["value"]
        elif name := about.get("name", ""):
            self.last = name
            self.fields[name] = about.get("value", "")
            if tag == "textarea" or (tag == "input" and about.get("type", "text") in ("text", "search")):
                self.texts.append(name)


# Fields that take any text: all others at once are refused for one of them.
FREE = ("source", "words", "key.words", "key.why", "key.name", "key.label", "text")


@pytest.mark.long
def test_a_program_typed_into_any_field_of_any_form_stays_text(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("explorer.desk.server.PATIENCE", 0.0)
    monkeypatch.setattr(Firming, "begin", lambda firming, study: None)
    folder = small_study(tmp_path)
    file = folder / "study.toml"
    more = "[candidates.one]\nmass = '4 kg'\n[measurements.scales]\ntake = 'kitchen_scales'\n"
    file.write_text(f"{file.read_text()}\n{more}")
    refused = taken = 0
    with serving(folder) as served:
        served.desk._bench.change(lambda text: text.replace("mean = 5.0", "mean = 5.1"))
        for room in ROOMS[:-2]:
            for action, fields, texts in Forms(served.ask(f"?at={room}")[1]).found:
                for some in (texts, *([one] for one in texts if one in FREE)):
                    status, page, _ = served.ask(action, form={**fields, **dict.fromkeys(some, SCRIPT)})
                    refused += status == 422
                    if status == 303 and some:
                        page = served.ask(f"?at={room}")[1] + served.ask("?at=save")[1]
                        taken += "&lt;script&gt;" in page
                        served.ask("undo", form={"room": room})
                    assert "<script>" not in page, (action, some)
                    assert "<img" not in page, (action, some)
    assert refused > 10
    assert taken > 10


def test_code_of_a_study_is_never_run(tmp_path: Path) -> None:
    folder = small_study(tmp_path)
    (folder / "own.py").write_text("open('ran', 'w').close()\nraise SystemExit\n")
    file = folder / "study.toml"
    plain = file.read_text()
    own = plain.replace('title = "Small"', 'title = "Small"\nown_quantities = "own.py"')
    with serving(folder) as served:
        status, text, _ = served.ask(
            "text", form={"room": "file", "text": own, "seen": served.desk._bench.seen()}
        )
        assert status == 422
        assert "Python file of its own" in text
        assert served.desk._bench.text == plain
    file.write_text(own)
    with pytest.raises(SquatlineError, match="Python file of its own"):
        Desk(folder, TOKEN)
    assert not (folder / "ran").exists()
    assert not Path("ran").exists()


def test_an_empty_folder_begins_with_a_question(tmp_path: Path) -> None:
    with serving(tmp_path) as served:
        assert "Begin a study" in served.ask()[1]
        answers = {"flaps": "2", "drive": "electric", "suspension": "spring", "brakes": "", "wake": "yes"}
        assert served.ask("start", form=answers | {"drive": "steam"})[0] == 422
        status, _, headers = served.ask("start", form=answers)
        assert (status, headers["location"]) == (303, f"/{TOKEN}/?at=unknown")
        text = served.ask("?at=unknown")[1]
        assert "How the limits stand" in text
        # What the drawing shows is said in words, not as the parts of a sentence.
        assert "Side view of the car" in text
        assert "Amount(" not in text
        (many,) = re.findall(r"(\d+) numbers to find out", text)
        assert text.count('action="entry"') == MOST_AT_ONCE < int(many)
        assert 'id="input-inputs.mass"' in text
        known = {"place": "inputs.mass", "room": "unknown", "kind": "one value", "value": "5.1 kg"}
        assert served.ask("entry", form={**known, "source": "kitchen scales"})[0] == 303
        text = served.ask("?at=unknown")[1]
        assert f"{int(many) - 1} numbers to find out" in text
        assert 'id="input-inputs.mass"' not in text
    assert (tmp_path / "study.toml").read_text() == template(CarHas(2, "electric", None, "spring", True))


def test_the_command_is_there() -> None:
    assert "desk" in {command.callback.__name__ for command in app.registered_commands if command.callback}
