"""A small book of invented logs, and the page of it asked without a network."""

from __future__ import annotations

import json
import shutil
import time
from contextlib import suppress
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from starlette.testclient import TestClient

from telemetry.app.adding import add_logs
from telemetry.book import Logbook
from telemetry.page.app import make_app
from telemetry.page.safety import Door
from telemetry.page.start.serving import PageServer, listening
from telemetry.page.work.jobs import Work
from tests.cli.conftest import text_of
from tests.report.conftest import browser  # noqa: F401 - a fixture

HOST, KEY = "127.0.0.1:8417", "a-key-of-tests"
DOOR = Door(key=KEY, hosts=frozenset({HOST, "localhost:8417"}))


class Page:
    """The page, asked as its own browser would ask it."""

    def __init__(self, book: Path, cache: Path | None, *, key: bool = True) -> None:
        self.path = book
        self.work = Work(book, workers=0)
        self.app = make_app(book, door=DOOR, cache=cache, work=self.work)
        self.client = TestClient(self.app, base_url=f"http://{HOST}", raise_server_exceptions=False)
        if key:
            self.client.cookies.set(DOOR.cookie, KEY)

    @property
    def book(self) -> Logbook:
        return Logbook(self.path)

    def get(self, path: str, **more: Any) -> Any:
        return self.client.get(path, **more)

    def post(self, path: str, data: Any = None, **more: Any) -> Any:
        headers = {"origin": f"http://{HOST}", **more.pop("headers", {})}
        return self.client.post(path, data=data, headers=headers, **more)

    def worked(self) -> None:
        """Work off what came, in this thread."""
        self.work.work_off()


class Address:
    """An address as the browser's helper takes it."""

    def __init__(self, uri: str) -> None:
        self.uri = uri

    def as_uri(self) -> str:
        return self.uri


class Served:
    """The page of a book, served in a thread of this process."""

    def __init__(self, book: Path, cache: Path | None = None) -> None:
        listener = listening(18400, lan=False)
        host = f"127.0.0.1:{listener.getsockname()[1]}"
        self.base, self.book = f"http://{host}", book
        self.work = Work(book, workers=0)
        app = make_app(
            book, door=Door(key="key", hosts=frozenset({host})), cache=cache, work=self.work
        )
        self.work.start()
        self.server = PageServer(app)
        self.thread = Thread(target=self.server.run, args=(listener,))
        self.thread.start()

    def open(self, window: Any, path: str, width: int = 1280, *, dark: bool = False) -> None:
        window.open(Address(f"{self.base}{path}"), width, dark=dark)
        # The page before may have loaded once more meanwhile, and been taken for this one.
        there = json.dumps("/" if path.startswith("/?key=") else path)
        here = f"location.pathname + location.search === {there} && document.readyState"
        for _ in range(200):
            with suppress(AssertionError):
                if window.run(here) == "complete":
                    return
            time.sleep(0.1)
        raise AssertionError(f"{path} never came")

    def enter(self, window: Any) -> None:
        """Come in with the key, as from the first address."""
        self.open(window, "/?key=key")

    def close(self) -> None:
        self.server.stop()
        self.thread.join(20)
        self.work.stop()


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of three flights of a tern, the last one with a bus that fell, and one of a gull."""
    folder = tmp_path_factory.mktemp("season")
    card = folder / "card"
    card.mkdir()
    for day in (1, 2, 3):
        text = text_of(seed=day, dip_v=4.8 if day == 3 else 0.0)
        (card / f"2026-05-0{day}.csv").write_text(text, encoding="utf-8")
    book = Logbook(folder / "book")
    add_logs(book, [card], aircraft="tern")
    other = folder / "2026-05-04.csv"
    other.write_text(text_of(seed=4), encoding="utf-8")
    add_logs(book, [other], aircraft="gull")
    return folder / "book"


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pages that were made once: what many tests look at is drawn one time."""
    return tmp_path_factory.mktemp("pages")


@pytest.fixture
def book(season: Path, tmp_path: Path) -> Path:
    """A copy of the book that a test may write to."""
    shutil.copytree(season, tmp_path / "book")
    return tmp_path / "book"


@pytest.fixture
def page(book: Path) -> Page:
    """The page of that copy."""
    return Page(book, None)


@pytest.fixture
def looked(season: Path, pages: Path) -> Page:
    """The page of the book itself: for tests that only look."""
    return Page(season, pages)


@pytest.fixture
def empty(tmp_path: Path) -> Page:
    """The page of a book that holds nothing."""
    return Page(tmp_path / "empty", None)
