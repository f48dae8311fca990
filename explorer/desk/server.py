"""The desk's addresses, all below its token, and the server behind them: on this machine, until stopped."""

from __future__ import annotations

import secrets
import socket
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.routing import Mount, Route

from explorer.desk import editing, logs, pages
from explorer.desk.at_work import AtWork
from explorer.desk.entry_forms import KINDS, Fields
from explorer.desk.gate import Gate
from explorer.desk.packet import FORMS, REPORT_POLICY, Packet
from explorer.desk.pages import Refused
from explorer.desk.sheets import SECTIONS, written_as
from explorer.desk.workbench import Workbench
from explorer.errors import SquatlineError, StudyError
from explorer.study.car_parts import PARTS
from explorer.study.schema import NAME
from explorer.study.template import CarHas, write_template
from explorer.study.text import STUDY_FILE
from reports.page import HERE as REPORTS

if TYPE_CHECKING:
    from explorer.logs.fits import Fitted

LOOPBACK = "127.0.0.1"
# How long an answer waits for the first cars: then the page comes and asks again by itself.
PATIENCE = 1.5
STYLES = (REPORTS / "style" / "common.css", Path(__file__).parent / "style" / "desk.css")
FILES = {
    "htmx.js": (Path(__file__).parent / "vendor" / "htmx.min.js", "text/javascript"),
    "regular.woff2": (REPORTS / "fonts" / "Inter-Regular.woff2", "font/woff2"),
    "semibold.woff2": (REPORTS / "fonts" / "Inter-SemiBold.woff2", "font/woff2"),
}


class Desk:
    """Everything one study's desk answers with.

    Parameters
    ----------
    path:
        Folder of the study, or its file; a folder without one is asked about first.
    token:
        First part of every address.
    at_work:
        The processes that judge it; without any it is judged in this one.
    """

    def __init__(self, path: Path, token: str, at_work: AtWork | None = None) -> None:
        self.file = path / STUDY_FILE if path.is_dir() or not path.suffix else path
        self.token, self.at_work = token, at_work
        self.bench = Workbench.of(self.file, at_work) if self.file.exists() else None
        self.packet = Packet(self.file)

    def app(self, port: int) -> Gate:
        """Return the application behind its gate."""
        routes = [
            Route("/", self.show),
            Route("/rows", self.rows),
            Route("/shape", self.shape),
            Route("/desk.css", self.style),
            Route("/files/{name}", self.asset),
            Route("/report/{name}", self.report),
            *(
                Route(f"/{name}", answer, methods=["GET", "POST"])
                for name, answer in {
                    "start": self.start,
                    "entry": self.entry,
                    "keys": self.keys,
                    "remove": self.remove,
                    "text": self.text,
                    "undo": self.undo,
                    "candidate": self.candidate,
                    "save": self.save,
                    "reload": self.reload,
                    "packet": self.write,
                    "log": self.keep,
                    "map": self.map,
                    "fit": self.fit,
                    "take": self.take,
                }.items()
            ),
        ]
        inner = Starlette(routes=[Mount(f"/{self.token}", routes=routes)])
        return Gate(inner, self.token, {f"{LOOPBACK}:{port}", f"localhost:{port}"})

    def close(self) -> None:
        """Let go of everything that is under way."""
        self.packet.stop()
        if self.bench is not None:
            self.bench.firming.stop()

    def _there(self, room: str, **more: str) -> Response:
        query = urlencode({"at": room} | {key: value for key, value in more.items() if value})
        return RedirectResponse(f"/{self.token}/?{query}", 303)

    def _page(
        self,
        room: str,
        *,
        find: str = "",
        told: str = "",
        refused: Refused | None = None,
        log: tuple[str, str] = ("", ""),
    ) -> Response:
        if self.bench is None:
            return HTMLResponse(pages.start_page(self.file.parent.resolve().name))
        text = pages.page(
            self.bench,
            self.packet,
            room,
            find=find,
            told=told,
            refused=refused,
            log=log,
            patience=PATIENCE,
        )
        return HTMLResponse(text, 200 if refused is None else 422)

    def show(self, request: Request) -> Response:
        """Show the page, with one part or room open."""
        room = request.query_params.get("at", PARTS[-1].name)
        known = {part.name for part in PARTS} | {*SECTIONS, *pages.WHOLE}
        asked = request.query_params
        return self._page(
            room if room in known else PARTS[-1].name,
            find=asked.get("find", "")[:100],
            log=(asked.get("log", ""), asked.get("kind", "")),
        )

    def rows(self, request: Request) -> Response:
        """Show how the limits stand."""
        return HTMLResponse(pages.verdicts(self._bench))

    def shape(self, request: Request) -> Response:
        """Draw an input as its form has it, while one types."""
        asked = request.query_params
        place = _place(asked)
        if len(place) < 2 or place[0] not in ("inputs", "conditions", "candidates"):
            return HTMLResponse("there is no such input\n", 404)
        return HTMLResponse(pages.shape(self._bench, place, _fields(asked)))

    @property
    def _bench(self) -> Workbench:
        if self.bench is None:
            raise StudyError("there is no study here yet", file=str(self.file))
        return self.bench

    def style(self, request: Request) -> Response:
        """Send the report's styles and the desk's own."""
        return Response("\n".join(file.read_text(encoding="utf-8") for file in STYLES), media_type="text/css")

    def asset(self, request: Request) -> Response:
        """Send one of the few files that a page needs."""
        if (found := FILES.get(request.path_params["name"])) is None:
            return Response("there is no such file\n", 404)
        return FileResponse(found[0], media_type=found[1])

    def report(self, request: Request) -> Response:
        """Send a form of the packet, which may do nothing with the desk."""
        name = request.path_params["name"]
        if name not in self.packet.ready():
            return Response("there is no such report\n", 404)
        return FileResponse(
            self.packet.results / name,
            media_type=FORMS[name],
            headers={"content-security-policy": REPORT_POLICY},
        )

    async def start(self, request: Request) -> Response:
        """Write a study to begin with into an empty folder."""
        form = await _form(request)
        if request.method == "POST" and self.bench is None:
            said = {name: _text(form, name) for name in pages.QUESTIONS}
            try:
                write_template(self.file.parent, _car(said))
                self.bench = await run_in_threadpool(Workbench.of, self.file, self.at_work)
            except SquatlineError as error:
                return HTMLResponse(pages.start_page(self.file.parent.resolve().name, str(error)), 422)
        return self._there("unknown")

    async def entry(self, request: Request) -> Response:
        """Take an input as its form has it."""
        form = await _form(request)
        fields = _fields(form)
        place = _place(form)
        return await self._changed(
            request,
            form,
            lambda text: editing.with_entry(text, place, fields),
            lambda error: Refused.of(place, error, fields=fields),
        )

    async def keys(self, request: Request) -> Response:
        """Take the keys of a table as its form has them; its name is in the form, where it has one."""
        form = await _form(request)
        place = _place(form)
        keys = {name[4:]: _text(form, name) for name in form if name.startswith("key.")}
        if more := _text(form, "more").strip():
            keys[more] = _text(form, "more_value")

        def edit(text: str) -> str:
            known: editing.Place = place
            name = _text(form, "name").strip()
            if name and place[-1] != name:
                known = _named((*place[:-1], name))
                if place[-1]:
                    text = editing.renamed(text, place, name)
                elif editing.at(text, known) is not None:
                    raise StudyError("there is one of that name", found=name, remedy="name it otherwise")
            elif "name" in keys and editing.at(text, place) is not None:
                text = editing.renamed(text, place, keys["name"].strip())
            return editing.with_keys(text, _named(known), keys, *written_as(known))

        return await self._changed(
            request,
            form,
            edit,
            lambda error: Refused.of(place, error, keys={**keys, "": _text(form, "name")}),
        )

    async def remove(self, request: Request) -> Response:
        """Take a table out."""
        form = await _form(request)
        place = _place(form)
        return await self._changed(
            request,
            form,
            lambda text: editing.without(text, place),
            lambda error: Refused.of(place, error),
        )

    async def text(self, request: Request) -> Response:
        """Take the whole text."""
        form = await _form(request)
        typed = _text(form, "text").replace("\r\n", "\n")

        def edit(text: str) -> str:
            if _text(form, "seen") != self._bench.seen():
                raise StudyError(
                    "the study has changed since this text was shown",
                    remedy="copy what you typed, open the page anew, and put it in there",
                )
            return typed

        return await self._changed(request, form, edit, lambda error: Refused("file", str(error), text=typed))

    async def candidate(self, request: Request) -> Response:
        """Keep what was changed as a candidate."""
        form = await _form(request)
        name = _text(form, "name").strip()
        return await self._changed(
            request,
            form,
            lambda text: editing.as_candidate(
                self._bench.saved, text, str(_named(("candidates", name))[1]), _text(form, "words")
            ),
            lambda error: Refused("keep", str(error)),
        )

    async def _changed(
        self,
        request: Request,
        form: FormData,
        edit: Callable[[str], str],
        refused: Callable[[SquatlineError], Refused],
    ) -> Response:
        room, find = _text(form, "room") or PARTS[-1].name, _text(form, "find")
        if request.method != "POST":
            return self._there(room)
        try:
            await run_in_threadpool(self._bench.change, edit)
        except SquatlineError as error:
            return await run_in_threadpool(self._page, room, find=find, refused=refused(error))
        return self._there(room, find=find)

    async def undo(self, request: Request) -> Response:
        """Go back by one change."""
        form = await _form(request)
        if request.method == "POST":
            self._bench.undo()
        return self._there(_text(form, "room") or PARTS[-1].name)

    async def save(self, request: Request) -> Response:
        """Write the study file, once its difference has been looked at."""
        form = await _form(request)
        if request.method == "POST":
            try:
                self._bench.save(_text(form, "seen"))
            except SquatlineError as error:
                return self._page("save", refused=Refused("save", str(error)))
        return self._there("save")

    async def reload(self, request: Request) -> Response:
        """Take the file over as it is on the disk."""
        if request.method == "POST":
            try:
                self._bench.take_from_disk()
            except SquatlineError as error:
                return self._page("save", refused=Refused("save", str(error)))
        return self._there("save")

    async def write(self, request: Request) -> Response:
        """Write the packet of the saved study."""
        form = await _form(request)
        if request.method == "POST":
            if self._bench.unsaved:
                words = "the packet is written from the study file: save the changes first"
                return self._page("packet", refused=Refused("packet", words))
            samples = _text(form, "samples")
            self.packet.begin(int(samples) if samples.isdecimal() and int(samples) >= 100 else None)
        return self._there("packet")

    async def keep(self, request: Request) -> Response:
        """Keep a dropped log beside the study."""
        if request.method != "POST":
            return self._there("logs")
        async with request.form(max_files=1, max_fields=1) as form:
            dropped = form.get("log")
            name, content = ("", b"")
            if dropped is not None and not isinstance(dropped, str):
                name, content = dropped.filename or "", await dropped.read()
        try:
            kept = logs.keep_log(self._bench.study.folder, name, content)
        except SquatlineError as error:
            return await run_in_threadpool(self._page, "logs", refused=Refused("logs", str(error)))
        return self._there("logs", log=kept)

    async def map(self, request: Request) -> Response:
        """Put a log into the study as a fit, with its columns as they were mapped."""
        form = await _form(request)
        if request.method != "POST":
            return self._there("logs")
        said = {key: value for key, value in form.items() if isinstance(value, str)}
        log = (said.get("file", ""), said.get("kind", ""))
        try:
            name = str(_named(("fits", said.get("further") or said.get("name", "").strip()))[1])
            await run_in_threadpool(
                self._bench.change, lambda text: logs.with_fit(text, self._bench.study, said)
            )
        except SquatlineError as error:
            return await run_in_threadpool(self._page, "logs", refused=Refused("logs", str(error)), log=log)
        return await self._fitted(request, name)

    async def fit(self, request: Request) -> Response:
        """Fit a log, to be looked at."""
        return await self._fitted(request, _text(await _form(request), "name"))

    async def take(self, request: Request) -> Response:
        """Take over what a fit found: written beside the study, which then includes it."""

        def take(fitted: Fitted) -> None:
            self._bench.change(lambda text: logs.take_over(fitted, text))

        return await self._fitted(request, _text(await _form(request), "name"), take)

    async def _fitted(
        self, request: Request, name: str, then: Callable[[Fitted], None] | None = None
    ) -> Response:
        if request.method != "POST":
            return self._there("logs")
        try:
            fitted = await run_in_threadpool(self._bench.fit, name)
            if then is not None:
                await run_in_threadpool(then, fitted)
        except SquatlineError as error:
            return await run_in_threadpool(self._page, "logs", refused=Refused(f"fits.{name}", str(error)))
        return self._there("logs")


async def _form(request: Request) -> FormData:
    return await request.form(max_files=0, max_fields=200, max_part_size=2_000_000)


def _text(form: Mapping[str, Any], key: str) -> str:
    value = form.get(key, "")
    return value if isinstance(value, str) else ""


def _fields(form: Mapping[str, Any]) -> Fields:
    return Fields(
        kind=_text(form, "kind"),
        numbers={key: _text(form, key) for keys in KINDS.values() for key in keys},
        unit=_text(form, "unit"),
        source=_text(form, "source"),
        text=_text(form, "text"),
    )


def _car(said: Mapping[str, str]) -> CarHas:
    known = {name: set(answers) for name, (_, answers) in pages.QUESTIONS.items()}
    if any(said[name] not in answers for name, answers in known.items()):
        raise StudyError("this is none of the answers", found=", ".join(said.values()))
    return CarHas(
        int(said["flaps"]), said["drive"], said["brakes"] or None, said["suspension"], bool(said["wake"])
    )


def _place(form: Mapping[str, Any]) -> tuple[str | int, ...]:
    return tuple(int(step) if step.isdecimal() else step for step in _text(form, "place").split("."))


def _named(place: editing.Place) -> editing.Place:
    """Check the name that a new table is given."""
    import re

    for step in place[1:]:
        if isinstance(step, str) and not re.match(NAME, step):
            raise StudyError(
                "this cannot be a name", found=step, allowed="small letters, digits and _, a letter first"
            )
    return place


def serve(path: Path, announce: Callable[[str], Any], *, port: int = 0) -> None:
    """Serve the desk of a study until it is interrupted.

    Parameters
    ----------
    path:
        The study's folder or file.
    announce:
        Told the address, once it answers.
    port:
        Port to listen at; any free one by default.

    Raises
    ------
    SquatlineError
        When the study cannot be read, or the port is taken.
    """
    at_work = AtWork()
    try:
        _serve(Desk(path, secrets.token_urlsafe(24), at_work), announce, port)
    finally:
        at_work.end()


def _serve(desk: Desk, announce: Callable[[str], Any], port: int) -> None:
    import uvicorn

    with socket.socket() as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((LOOPBACK, port))
        except OSError as error:
            raise SquatlineError(
                "the desk cannot listen at this port", key="--port", found=f"{port}: {error.strerror}"
            ) from None
        listening.listen()  # from here on the address is answered, if only once the server is up
        port = listening.getsockname()[1]
        config = uvicorn.Config(
            desk.app(port),
            log_level="error",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=2,
            lifespan="off",
        )
        announce(f"http://{LOOPBACK}:{port}/{desk.token}/")
        try:
            uvicorn.Server(config).run(sockets=[listening])
        finally:
            desk.close()
