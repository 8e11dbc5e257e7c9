"""Who may ask the page, and how much: everything is refused that is not from the user's own page.

- A name that a stranger's server resolves to this machine (DNS rebinding) comes with that name as
  its host, and is refused.
- The key stands in the first address alone; then a cookie holds it, which scripts do not see and
  which no other site's request carries (HttpOnly, SameSite=Strict; RFC 6265 and its revision).
- A write comes from a page of this server (its Origin, RFC 6454), or is refused.
- Bodies are counted while they come, and nobody may take his time over one.
"""

from __future__ import annotations

import asyncio
import hmac
import time
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, urlencode

from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Bytes of a form that holds no files, and of one that does.
MOST_FORM_BYTES = 1 << 20
MOST_DROP_BYTES = 1 << 30
#: How long a body may give nothing, and how long it may take as a whole, s.
PATIENCE_S, WHOLE_S = 20.0, 1800.0
# Wrong keys within a minute, after which none is looked at (heuristic: nobody mistypes so often).
MOST_WRONG, WRONG_FOR_S = 10, 60.0

_READS = ("GET", "HEAD")
_ALWAYS = {
    b"content-security-policy": b"default-src 'none'; frame-ancestors 'none'",
    b"x-content-type-options": b"nosniff",
    b"x-frame-options": b"DENY",
    # A form's own Origin is only sent where the page may tell where it is.
    b"referrer-policy": b"same-origin",
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
    b"cache-control": b"no-store",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """Where the page is served, and what opens it.

    Attributes
    ----------
    key : str
        What the first address holds.
    hosts : frozenset of str
        Hosts under which the page may be asked, with their port: "127.0.0.1:8000".
    many : bool
        Whether other devices of the network may ask; a page then asks them for the key.
    """

    key: str
    hosts: frozenset[str]
    many: bool = False

    @property
    def cookie(self) -> str:
        """The cookie's name: browsers do not keep those of two ports of a machine apart."""
        ports = sorted({host.rpartition(":")[2] for host in self.hosts})
        return f"busbook-{ports[0] if ports else '0'}"


class Guard:
    """The outermost part of the page: lets through what :class:`Door` allows.

    Parameters
    ----------
    app : ASGI application
    door : Door
    ask : callable
        The page that asks for the key: from whether a wrong one was given to a response.
    drops : str
        Path of the form that takes files.
    """

    def __init__(
        self, app: ASGIApp, *, door: Door, ask: Callable[[bool], Response], drops: str
    ) -> None:
        self.app, self.door, self.ask, self.drops = app, door, ask, drops
        self.wrong: list[float] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request: refused, or handed on with its body counted."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        sealed = _with_headers(send)
        request = Request(scope, receive)
        most = MOST_DROP_BYTES if scope["path"] == self.drops else MOST_FORM_BYTES
        body = _Body(receive, most)
        try:
            answer = self._refused(request) or await self._unknown(request, body)
        except Refused as refused:
            answer = PlainTextResponse(f"{refused}\n", refused.status)
        if answer is not None:
            await answer(scope, receive, sealed)
            return
        await self.app(scope, body, sealed)

    def _refused(self, request: Request) -> Response | None:
        host = request.headers.get("host", "")
        if len(request.headers.getlist("host")) != 1 or host.lower() not in self.door.hosts:
            return _no(f"this page is not at this address; ask it at {sorted(self.door.hosts)[0]}")
        if request.method not in (*_READS, "POST"):
            return _no("this page is read and written with GET and POST alone", 405)
        if request.method == "POST" and not self._from_here(request.headers):
            return _no("only the page itself may write; open it and try again there")
        length = request.headers.get("content-length", "0")
        most = MOST_DROP_BYTES if request.url.path == self.drops else MOST_FORM_BYTES
        if not length.isascii() or not length.isdecimal():
            return _no("the length of this request is no number", 400)
        if int(length) > most:
            return _no(_too_large(most), 413)
        return None

    def _from_here(self, headers: Mapping[str, str]) -> bool:
        """Whether a write comes from a page of this server, as its browser says."""
        site = headers.get("sec-fetch-site", "same-origin")
        origin = headers.get("origin", "")
        return site == "same-origin" and origin == f"http://{headers.get('host', '').lower()}"

    async def _unknown(self, request: Request, body: Receive) -> Response | None:
        """None for one who has the key; else the way in, or the page that asks for the key."""
        if self._same(_cookie(request, self.door.cookie)):
            # A key in the address is not left there, where it would be kept and shown.
            keyed = request.method in _READS and "key" in request.query_params
            return _without_key(request) if keyed else None
        given = ""
        if request.method in _READS:
            given = request.query_params.get("key", "")
        elif request.url.path == "/key":
            given = await _typed_key(body)
        if not given:
            return self.ask(False)
        now = time.monotonic()
        self.wrong = [at for at in self.wrong if now - at < WRONG_FOR_S]
        if len(self.wrong) >= MOST_WRONG:
            return _no("too many wrong keys; wait a minute, then try again", 429)
        if not self._same(given.strip().lower()):
            self.wrong.append(now)
            return self.ask(True)
        response = _without_key(request)
        response.set_cookie(self.door.cookie, self.door.key, httponly=True, samesite="strict")
        return response

    def _same(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self.door.key.encode())


def _without_key(request: Request) -> Response:
    """The way to the same page, without the key in its address."""
    rest = [(k, v) for k, v in request.query_params.multi_items() if k != "key"]
    path = "/" if request.url.path == "/key" else request.url.path
    # Two slashes at the start would name another host.
    path = "/" + path.lstrip("/\\")
    return RedirectResponse(f"{path}?{urlencode(rest)}" if rest else path, 303)


def _cookie(request: Request, name: str) -> str:
    try:
        found = SimpleCookie(request.headers.get("cookie", "")).get(name)
    except CookieError:
        return ""
    return "" if found is None else found.value


async def _typed_key(body: Receive) -> str:
    data = b""
    more = True
    while more and len(data) < 1000:
        message = await body()
        data += message.get("body", b"")
        more = message["type"] == "http.request" and message.get("more_body", False)
    return parse_qs(data.decode("utf-8", "replace")).get("key", [""])[0]


def _no(what: str, status: int = 403) -> Response:
    return PlainTextResponse(f"Refused: {what}.\n", status)


def _too_large(most: int) -> str:
    return f"this is more than {most >> 20} MB at once; take fewer files"


class Refused(Exception):
    """A body that is too large or too slow."""

    def __init__(self, what: str, status: int) -> None:
        super().__init__(f"Refused: {what}.")
        self.status = status


class _Body:
    """The body of a request, counted while it comes."""

    def __init__(self, receive: Receive, most: int) -> None:
        self.receive, self.most = receive, most
        self.count, self.whole = 0, False
        self.until = time.monotonic() + WHOLE_S

    async def __call__(self) -> Message:
        if self.whole:  # what comes now is that the browser has gone
            return await self.receive()
        try:
            message = await asyncio.wait_for(self.receive(), PATIENCE_S)
        except TimeoutError:
            raise Refused("nothing came for too long; send it again", 408) from None
        self.count += len(message.get("body", b""))
        self.whole = not message.get("more_body", False)
        if self.count > self.most:
            raise Refused(_too_large(self.most), 413)
        if time.monotonic() > self.until:
            raise Refused("this took too long; send fewer files at once", 408)
        return message


def _with_headers(send: Send) -> Callable[[Message], Awaitable[None]]:
    """The way back with what every answer says, unless it says it by itself."""

    async def sealed(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = {name.lower() for name, _ in message["headers"]}
            more = [(name, value) for name, value in _ALWAYS.items() if name not in own]
            message = {**message, "headers": [*message["headers"], *more]}
        await send(message)

    return sealed
