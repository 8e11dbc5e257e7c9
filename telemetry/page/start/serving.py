"""The server of the page: it listens on this machine, tells where, and ends quietly."""

from __future__ import annotations

import asyncio
import http.client
import json
import logging
import os
import secrets
import socket
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from threading import Event, Thread
from urllib.parse import urlsplit

import segno
import uvicorn
from starlette.datastructures import Headers
from starlette.responses import HTMLResponse, PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from telemetry.model.errors import BusbookError
from telemetry.model.files import read_small_text
from telemetry.page.safety import Door

#: Where the page listens unless another port is named; one in use takes the next.
PORT = 8417
_MOST_TRIED = 50
_HERE = "127.0.0.1"
# No letter that is taken for a digit or another letter: the key may be typed on a telephone.
_SIGNS = "abcdefghjkmnpqrstuvwxyz23456789"
_KEY_SIGNS = 12
_ADDRESS = ".page.json"
# What makes a folder a book: the name in book/files/layout.py, which takes a second to load.
FORMAT_FILE = "format.toml"
# Said by a page that is still loading.
_OPENS = "busbook-opens"
# How long a request may take to say what it wants, s, and how many may be open at once.
HEAD_S, _MOST_OPEN = 20.0, 100
# How long loading may take on a slow machine, s; how long a browser waits for it without a page.
_LOADED_S, _NO_PAGE_S = 120.0, 1.0
_OPENING = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>busbook opens</title>
<meta name="viewport" content="width=device-width"><meta name="color-scheme" content="light dark">
</head><body><main><h1>busbook opens</h1>
<p role="status">The logbook is being opened. This page looks again by itself.</p>
</main></body></html>
"""


def new_key() -> str:
    """A key that nobody guesses (31^12 of them) and a person can type."""
    return "".join(secrets.choice(_SIGNS) for _ in range(_KEY_SIGNS))


def running(book: Path) -> str | None:
    """The address under which a page of this book is served already; None where none answers."""
    path = book / _ADDRESS
    try:
        address = str(json.loads(read_small_text(path))["address"])
        parts = urlsplit(address)
        asked = http.client.HTTPConnection(_HERE, parts.port or 0, timeout=3)
        try:
            # As a browser: a page that is still loading says so at once.
            headers = {"Host": f"{_HERE}:{parts.port}", "Accept": "text/html"}
            asked.request("GET", f"/?{parts.query}", headers=headers)
            answer = asked.getresponse()
            cookie = answer.headers.get("set-cookie") or ""
            ours = f"busbook-{parts.port}=" in cookie or _OPENS in answer.headers
        finally:
            asked.close()
    except (OSError, ValueError, KeyError, TypeError, http.client.HTTPException):
        return None
    # Whoever wrote the file: it leads to this machine alone.
    return f"http://{_HERE}:{parts.port}/?{parts.query}" if ours else None


def listening(port: int, *, lan: bool) -> socket.socket:
    """A socket that listens on this port, or on the next that is free.

    Raises
    ------
    BusbookError
        If none of them is.
    """
    for number in range(port, min(port + _MOST_TRIED, 65536)):
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if os.name == "posix":  # elsewhere this would let two programs have one port
                found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            found.bind(("0.0.0.0" if lan else _HERE, number))
            found.listen(128)
        except OSError:
            found.close()
            continue
        return found
    raise BusbookError(
        f"no port from {port} to {port + _MOST_TRIED - 1} is free", hint="name another: --port 9000"
    )


def own_addresses() -> tuple[str, ...]:
    """The addresses of this machine in its networks; the one that leads out of it first."""
    found: dict[str, None] = {}
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.connect(("192.0.2.1", 9))  # an address of examples (RFC 5737); nothing is sent
        found[asked.getsockname()[0]] = None
    with suppress(OSError):
        found |= dict.fromkeys(socket.gethostbyname_ex(socket.gethostname())[2])
    return tuple(one for one in found if not one.startswith("127."))


def serve(
    book: Path,
    *,
    port: int = PORT,
    lan: bool = False,
    inbox: Path | None = None,
    cache: Path | None = None,
    browser: bool = True,
    tell: Callable[[str], None] = print,
) -> None:
    """Serve the page of a book until it is stopped.

    Parameters
    ----------
    book : Path
        Made where there is none.
    port : int
    lan : bool
        Whether other devices of the network may ask as well.
    inbox : Path, optional
        A folder that is watched for logs.
    cache : Path, optional
        Folder for pages that were made once.
    browser : bool
        Whether the page is opened in the user's browser.
    tell : callable
        Takes what the user should know, line by line.
    """
    book = book.absolute()
    first = running(book)
    if first is not None:
        tell(f"The page is open already: {first}")
        if browser:
            _show(first, tell)
        return
    listener = listening(port, lan=lan)
    number, key = listener.getsockname()[1], new_key()
    ours = own_addresses() if lan else ()
    hosts = frozenset(f"{host}:{number}" for host in (_HERE, "localhost", *ours))
    addresses = tuple(f"http://{host}:{number}/?key={key}" for host in ours)
    address = f"http://{_HERE}:{number}/?key={key}"

    def load() -> tuple[ASGIApp, Callable[[], None]]:
        # These load what computes and draws: a second or two, in which the browser opens.
        from telemetry.page.app import make_app
        from telemetry.page.work.jobs import Work

        work = Work(book, workers=max(1, min(4, (os.cpu_count() or 2) - 1)), inbox=inbox)
        door = Door(key=key, hosts=hosts, many=lan)
        stop = server.stop
        app = make_app(book, door=door, cache=cache, work=work, addresses=addresses, stop=stop)
        write_address(book, address)  # of a book that was only now made
        work.start()
        return app, work.stop

    if (book / FORMAT_FILE).exists():  # an impatient second start finds this one while it loads
        write_address(book, address)
    later = LoadingApp(load)
    server = PageServer(later)
    later.begin(server.stop)
    try:
        tell(f"The page of {book}: {address}")
        if lan:
            _tell_lan(addresses, number, key, tell)
        if inbox is not None:
            tell(f"Logs that appear in {inbox} are added by themselves.")
        where = "It is open to your network" if lan else "It stays on this machine"
        tell(f"{where}; Ctrl-C ends it.")
        if browser:
            Thread(target=_show, args=(address, tell), daemon=True).start()
        with suppress(KeyboardInterrupt):
            server.run(listener)
    finally:
        with suppress(KeyboardInterrupt):
            _forget_address(book, address)
            later.end()
            listener.close()
    if later.error is not None:
        raise later.error
    tell("The page is closed; what was added is in the book.")


class LoadingApp:
    """An application that is still loading: who asks waits for it, a browser with a page."""

    def __init__(self, load: Callable[[], tuple[ASGIApp, Callable[[], None]]]) -> None:
        self.load = load
        self.loaded = Event()
        self.app: ASGIApp | None = None
        self.stop: Callable[[], None] | None = None
        self.error: Exception | None = None

    def begin(self, failed: Callable[[], None]) -> None:
        """Begin to load; ``failed`` is called where that cannot be done."""

        def begin() -> None:
            try:
                self.app, self.stop = self.load()
            except Exception as error:
                self.error = error
                failed()
            self.loaded.set()

        Thread(target=begin, daemon=True).start()

    def end(self) -> None:
        """End what was loaded."""
        self.loaded.wait(_LOADED_S)
        if self.stop is not None:
            self.stop()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request, once it is loaded."""
        if not self.loaded.is_set():
            html = scope.get("method") == "GET" and "text/html" in Headers(scope=scope).get(
                "accept", ""
            )
            await asyncio.to_thread(self.loaded.wait, _NO_PAGE_S if html else _LOADED_S)
            if html and not self.loaded.is_set():
                # Nothing of the book is in it: nobody was asked for the key yet.
                sealed = {"content-security-policy": "default-src 'none'; frame-ancestors 'none'"}
                headers = {"refresh": "1", "cache-control": "no-store", _OPENS: "1", **sealed}
                await HTMLResponse(_OPENING, 503, headers)(scope, receive, send)
                return
        app = self.app or PlainTextResponse("busbook could not start; it says why.\n", 503)
        await app(scope, receive, send)


class PageServer:
    """uvicorn with what this page needs of it."""

    def __init__(self, app: ASGIApp) -> None:
        # Faults are told on the page, in a sentence.
        logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
        logging.getLogger("uvicorn.error").propagate = False
        self.server = uvicorn.Server(
            uvicorn.Config(
                app,
                http=_Patient,
                ws="none",
                lifespan="off",
                log_config=None,
                access_log=False,
                server_header=False,
                proxy_headers=False,
                limit_concurrency=_MOST_OPEN,
                timeout_keep_alive=15,
                timeout_graceful_shutdown=3,
                h11_max_incomplete_event_size=64 * 1024,
            )
        )

    def run(self, listener: socket.socket) -> None:
        """Serve until it is stopped."""
        self.server.run(sockets=[listener])

    def stop(self) -> None:
        """End it as soon as what was asked is answered."""
        self.server.should_exit = True


class _Patient(H11Protocol):
    """A connection that is given up when it does not say in time what it wants."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._late = self.loop.call_later(HEAD_S, self._give_up)

    def _give_up(self) -> None:
        if self.cycle is None and self.transport is not None:
            self.transport.close()

    def connection_lost(self, exc: Exception | None) -> None:
        self._late.cancel()
        super().connection_lost(exc)


def _show(address: str, tell: Callable[[str], None]) -> None:
    opened = False
    with suppress(OSError, webbrowser.Error):
        opened = webbrowser.open(address)
    if not opened:
        tell("No browser could be opened: type the address into yours.")


def _tell_lan(
    addresses: tuple[str, ...], number: int, key: str, tell: Callable[[str], None]
) -> None:
    if not addresses:
        tell("This machine is in no network: other devices cannot reach the page.")
        return
    tell(
        "Devices of this network may open it too, with the key. Use this in your own network only:"
    )
    for address in addresses:
        tell(f"  {address}")
    tell(f"  (or http://{urlsplit(addresses[0]).hostname}:{number}, and the key {key})")
    for line in qr_lines(addresses[0]):
        tell(line)


def qr_lines(address: str) -> list[str]:
    """An address as a QR code (ISO/IEC 18004) of characters, two rows of it in each line."""
    rows = [
        [bool(x) for x in row] for row in segno.make(address, micro=False).matrix_iter(border=2)
    ]
    if len(rows) % 2:
        rows.append([False] * len(rows[0]))
    # Light modules are drawn: most terminals are dark.
    signs = {(False, False): "█", (False, True): "▀", (True, False): "▄", (True, True): " "}
    return [
        "".join(signs[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    ]


def write_address(book: Path, address: str) -> None:
    """Leave the address for a second start, which only this user may read."""
    path = book / _ADDRESS
    with suppress(OSError):
        path.unlink(missing_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump({"address": address}, file)


def _forget_address(book: Path, address: str) -> None:
    path = book / _ADDRESS
    with suppress(OSError, ValueError, KeyError, TypeError):
        if json.loads(read_small_text(path))["address"] == address:
            path.unlink()
