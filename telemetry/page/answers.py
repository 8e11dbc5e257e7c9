"""What every page is made with: the desk of the book, templates, and answers with their policy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from telemetry.book import Logbook
from telemetry.model.errors import BookError
from telemetry.model.version import made_by
from telemetry.page.histories import Histories
from telemetry.page.rendered import Rendered
from telemetry.page.work.jobs import Work
from telemetry.report.words import LEVEL_WORD
from telemetry.report.writers.around import SAID, Around, Way
from telemetry.report.writers.policy import content_policy
from telemetry.report.writers.templates import style_of, template, template_text, timeline_script

#: Aircraft, flight, note: paths are made here alone, each part quoted.
HOME = Way(words="All aircraft", href="/")
_EVERYWHERE = (("All aircraft", "/"), ("Logs on their way", "/work"), ("Guide", "/guide"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """All that the pages of one server share.

    Attributes
    ----------
    book : Path
        Where the logbook lies.
    rendered : Rendered
    work : Work
        The logs that are on their way into the book.
    histories : Histories
        Of its aircraft, judged beside the pages.
    addresses : tuple of str
        Addresses for other devices, where such may ask.
    undo : dict of str to (str, bytes)
        Profiles as they were before the page changed them, by a word that nobody guesses: the
        aircraft and the text. Of this start alone.
    """

    book: Path
    rendered: Rendered
    work: Work
    histories: Histories = field(default_factory=Histories)
    addresses: tuple[str, ...] = ()
    undo: dict[str, tuple[str, bytes]] = field(default_factory=dict)

    def open(self) -> Logbook:
        """The logbook as it is now: another program may write to it as well."""
        return Logbook(self.book)


def desk_of(request: Request) -> Desk:
    """The desk of the server that was asked."""
    found: Desk = request.app.state.desk
    return found


def to(*parts: str | int, **query: str | int | None) -> str:
    """An address of the page from its parts, each quoted: ``to("aircraft", "große möwe")``."""
    path = "/" + "/".join(quote(str(part), safe="") for part in parts)
    asked = {k: str(v) for k, v in query.items() if v is not None}
    return f"{path}?{urlencode(asked)}" if asked else path


def ways_of(name: str, here: str = "", number: int | None = None, last: int = 0) -> Around:
    """The ways from a page of an aircraft: back, to what else there is of it, to neighbours."""
    ways = [HOME, Way(words=name, href=to("aircraft", name), here=here == "")]
    if number is not None:
        ways += [
            Way(words=f"Flight {n}", href=to("aircraft", name, "flights", n), here=n == number)
            for n in (number - 1, number, number + 1)
            if 1 <= n <= max(number, last)
        ]
    for words, page in (
        ("Notes", "notes"),
        ("Compare", "compare"),
        ("Checks", "checks"),
        ("Settings", "settings"),
        ("Sheet to print", "sheet"),
    ):
        ways.append(Way(words=words, href=to("aircraft", name, page), here=here == page))
    return Around(
        ways=(*ways, Way(words="Guide", href="/guide")),
        note=to("aircraft", name, "note"),
        settings=to("aircraft", name, "settings"),
        guide=to("guide", "findings"),
    )


def ways_home(here: str = "/") -> Around:
    """The ways from a page that is of no aircraft."""
    return Around(
        ways=tuple(Way(words=words, href=href, here=href == here) for words, href in _EVERYWHERE)
    )


def rendered(page: str, around: Around, /, **values: Any) -> str:
    """A page of the server from its template; what is put into it is escaped."""
    return template(f"page/{page}.html.j2").render(
        around=around,
        css=Markup(template_text("report.css")),
        page_css=Markup(template_text("page/page.css")),
        script=Markup(template_text("page/page.js")),
        level_word=LEVEL_WORD,
        figures={},
        again=values.pop("again", False),
        footer=f"{made_by()}. Advice from logs; no proof of airworthiness.",
        **values,
    )


def answered(page: str, said: str = "", status: int = 200) -> Response:
    """A page as an answer: with what a write said, and with its policy."""
    response = HTMLResponse(page.replace(SAID, said, 1), status)
    response.headers["content-security-policy"] = _policy()
    return response


@cache
def _policy() -> str:
    """What any page may run and load: the style sheets and scripts of the program."""
    sheets = ("report.css", "page/page.css")
    papers = (style_of("a4"), style_of("letter"))
    scripts = (timeline_script(), template_text("page/page.js"))
    return content_policy((*map(template_text, sheets), *papers), scripts, served=True)


def shown(
    page: str, around: Around, /, *, said: str = "", status: int = 200, **values: Any
) -> Response:
    """A page from its template as an answer."""
    return answered(rendered(page, around, **values), said, status)


def gone(path: str) -> Response:
    """The way to another page after a write."""
    return RedirectResponse(path, 303)


def told(problem: str, hint: str = "", status: int = 400, around: Around | None = None) -> Response:
    """A page that says what is wrong, in a sentence, and what to do."""
    around = around or ways_home("")
    return shown("told", around, problem=problem, hint=hint, status=status, good=status == 200)


def known(book: Logbook, name: str) -> str:
    """The aircraft of an address, as the book keeps it.

    Raises
    ------
    NotFound
        Where the book has none of that name.
    """
    if name not in book.aircraft():
        raise NotFound(f"the book has no aircraft '{name[:60]}'")
    return name


class NotFound(BookError):
    """An address that leads to nothing."""


def one_of(form: Mapping[str, Any], key: str, most: int = 500) -> str:
    """A field of a form as text on one line, at most so long; "" where it is missing."""
    value = form.get(key, "")
    text = value if isinstance(value, str) else ""
    return " ".join(text.split())[:most]
