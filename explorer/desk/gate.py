"""Who may ask the desk for anything: a page of its own, with its token, from this machine; nothing large."""

from __future__ import annotations

import hmac
from collections.abc import Collection
from dataclasses import dataclass

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BYTES = 20_000_000
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    # Without a referrer the browser would not tell a form's origin either.
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


class TooLargeError(Exception):
    """More was sent than is taken."""


@dataclass(frozen=True)
class Gate:
    """Lets requests through to the pages.

    Attributes
    ----------
    app:
        The pages.
    token:
        First part of every address, known to who started the desk alone.
    hosts:
        Names by which this machine may be called, each with the port: another one is a foreign page that has
        its own name point here.
    """

    app: ASGIApp
    token: str
    hosts: Collection[str]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or hand on with a bound on what is sent and a policy on what comes back."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        refused = self._refusal(scope)
        if refused is not None:
            await PlainTextResponse(f"{refused[1]}\n", refused[0])(scope, receive, send)
            return
        taken, begun = 0, False

        async def bounded() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > MOST_BYTES:
                raise TooLargeError
            return message

        async def guarded(message: Message) -> None:
            nonlocal begun
            begun = True
            if message["type"] == "http.response.start":
                given = {name.lower() for name, _ in message["headers"]}
                more = (*_HEADERS, (b"content-security-policy", POLICY.encode()))
                message["headers"] = [*message["headers"], *(one for one in more if one[0] not in given)]
            await send(message)

        try:
            await self.app(scope, bounded, guarded)
        except TooLargeError:
            if not begun:
                await PlainTextResponse(_LARGE, 413)(scope, receive, send)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = {
            name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]
        }
        host, origin = headers.get("host", ""), headers.get("origin")
        if host not in self.hosts:
            return 421, "the desk is not called by this name"
        first = scope["path"].split("/")[1] if scope["path"].startswith("/") else ""
        if not hmac.compare_digest(first.encode(), self.token.encode()):
            return 404, "there is nothing here: use the whole address that 'squatline desk' has printed"
        asks = scope["method"] in ("GET", "HEAD")
        if origin != f"http://{host}" and not (asks and origin is None):
            return 403, "this was not asked by a page of the desk"
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > MOST_BYTES:
            return 413, _LARGE
        return None


_LARGE = f"this is too large: the desk takes up to {MOST_BYTES // 1_000_000} MB at once"
