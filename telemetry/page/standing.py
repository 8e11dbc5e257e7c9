"""The list of aircraft: how each one stands, judged beside the page, shown when it is there.

A season of many flights takes seconds to be judged for the first time, and a page shall be there at
once: it shows what is known, and looks again for the rest. It is the first page after a start, and
imports nothing that computes or draws.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from threading import Lock, Thread

import segno
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from telemetry.book import Logbook
from telemetry.model.errors import BusbookError, sentence
from telemetry.page.answers import desk_of, shown, ways_home
from telemetry.page.histories import Histories, Judging
from telemetry.page.rendered import Rendered
from telemetry.page.said import said_in
from telemetry.report.words import answer_words, date_words, flights_counted
from telemetry.report.words import sentence as as_sentence
from telemetry.results import Level

_ORDER = {level: -level.rank for level in Level}
# How long the list waits for an aircraft that was never judged, s: a page shall be there.
_WAIT_S = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """What the list says of one aircraft.

    Attributes
    ----------
    name : str
    level : Level or None
        None where there is no flight, or nothing can be judged: ``reason`` says why.
    word, reason, since : str
        The answer, why, and since when.
    held, last : str
        What the book holds, and the day of the newest.
    number : int
        Of the newest flight; 0 where there is none.
    findings : tuple of (level, title)
        Open, the worst first.
    """

    name: str
    level: str | None
    word: str
    reason: str
    since: str = ""
    held: str = ""
    last: str = ""
    number: int = 0
    findings: tuple[tuple[str, str], ...] = ()


class Standing:
    """Cards of aircraft, made by a thread beside the pages."""

    def __init__(self, rendered: Rendered, histories: Histories) -> None:
        self.rendered, self.histories = rendered, histories
        self.waiting: dict[str, None] = {}
        self.lock = Lock()
        self.thread: Thread | None = None

    def cards(self, book: Logbook, wait_s: float) -> tuple[list[Card], list[str]]:
        """The cards that are there, the worst first, and the names of those that are not."""
        cards = {name: self._known(book, name) for name in book.aircraft()}
        missing = [name for name, card in cards.items() if card is None]
        if missing:
            self._begin(book, missing).join(wait_s)
            cards |= {name: self._known(book, name) for name in missing}
        found = [card for card in cards.values() if card is not None]
        found.sort(key=lambda c: (1 if c.level is None else _ORDER[Level(c.level)], c.name))
        return found, [name for name, card in cards.items() if card is None]

    def _known(self, book: Logbook, name: str) -> Card | None:
        text = self.rendered.known(("card", str(book.path), name, book.state(name)))
        if text is None:
            return None
        doc = json.loads(text)
        return Card(**{**doc, "findings": tuple(map(tuple, doc["findings"]))})

    def _begin(self, book: Logbook, names: Iterable[str]) -> Thread:
        with self.lock:
            self.waiting.update(dict.fromkeys(names))
            if self.thread is None or not self.thread.is_alive():
                self.thread = Thread(target=self._work, args=(book,), daemon=True)
                self.thread.start()
            return self.thread

    def _work(self, book: Logbook) -> None:
        while True:
            with self.lock:
                if not self.waiting:
                    self.thread = None
                    return
                name = next(iter(self.waiting))
                del self.waiting[name]
            key = ("card", str(book.path), name, book.state(name))
            self.rendered.keep(key, json.dumps(asdict(card_of(book, name, self.histories))))


def card_of(book: Logbook, name: str, histories: Histories) -> Card:
    """The card of one aircraft; what cannot be judged is said there and stops no other."""
    try:
        if not book.flights(name):
            return Card(
                name=name, level=None, word="No flights yet", reason="Drop a log of it here."
            )
        found = histories.get(book, name)
    except BusbookError as error:
        return Card(name=name, level=None, word="Cannot be judged", reason=error.what)
    except Exception as error:  # a fault in one aircraft's flights hides no other aircraft
        return Card(name=name, level=None, word="Cannot be judged", reason=sentence(error))
    assert not isinstance(found, Judging), "it was waited for"
    from telemetry.report.documents.across import Across
    from telemetry.report.parts.first_page import by_gravity

    answer, across = found.answer, Across.of(found)
    worst = next(iter(by_gravity(found.open)), None)
    number = len(found.flights)
    return Card(
        name=name,
        level=str(answer.level),
        word=answer.word,
        reason=as_sentence(answer.title if worst is None else worst.title),
        since=as_sentence(answer_words(answer)),
        held=flights_counted(f.kind for f in found.flights),
        last=date_words((across.history.flights[-1].start or "")[:10] or None),
        number=number,
        findings=tuple((str(f.level), as_sentence(f.title)) for f in by_gravity(found.open)),
    )


def home(request: Request) -> Response:
    """How do the aircraft stand?"""
    desk = desk_of(request)
    book = desk.open()
    cards, missing = request.app.state.standing.cards(book, _WAIT_S)
    return shown(
        "home",
        ways_home(),
        said=said_in(desk, book, request),
        cards=cards,
        missing=missing,
        open_questions=desk.work.questions(),
        inbox=desk.work.inbox,
        addresses=desk.addresses,
        qr=_qr(desk.addresses),
        again=bool(missing),
    )


def _qr(addresses: tuple[str, ...]) -> Markup:
    """The first address as a QR code (ISO/IEC 18004)."""
    if not addresses:
        return Markup()
    return Markup(segno.make(addresses[0], micro=False).svg_inline(scale=4, border=2))
