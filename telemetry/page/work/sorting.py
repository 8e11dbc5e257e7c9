"""What is still open of logs that came: whose they are, and what their columns hold."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np
from starlette.requests import Request
from starlette.responses import Response

from telemetry.book import Logbook
from telemetry.book.files.names import aircraft_key
from telemetry.importer.describe import ColumnReport, Listing, describe_columns
from telemetry.importer.names.settings import parse_setting
from telemetry.model.channels import CANONICAL_UNIT, Quantity
from telemetry.model.errors import BookError, BusbookError, UnknownSetting
from telemetry.page.answers import Desk, desk_of, gone, one_of, shown, ways_home
from telemetry.page.work.batches import OPEN, UNSURE, Batch, LogOnTheWay
from telemetry.report.words import sentence

# Quantities that the review can use, as a person is asked for them.
_ASKED = {
    Quantity.VOLTAGE: "a voltage",
    Quantity.CURRENT: "a current",
    Quantity.CONSUMED: "a charge used",
    Quantity.TEMPERATURE: "a temperature",
}
# Size of the small plot, in its own units.
_WIDE, _HIGH = 240, 48
_MOST_COLUMNS = 60


@dataclass(frozen=True, slots=True)
class ReadingChoice:
    """One way to read a column: what the form sends, and what it means."""

    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Question:
    """A column that is to be settled."""

    number: int
    title: str
    why: str
    samples: str
    span: str
    plot: str
    choices: tuple[ReadingChoice, ...]
    unit: str


@dataclass(frozen=True, slots=True)
class Columns:
    """The questions about one header, which all logs with it share."""

    header: str
    files: tuple[str, ...]
    problem: str
    questions: tuple[Question, ...]
    untimed: bool


def sort(request: Request) -> Response:
    """What is still open?"""
    return _page(desk_of(request))


def _page(desk: Desk, problem: str = "", status: int = 200) -> Response:
    book = desk.open()
    unsure: dict[str, list[LogOnTheWay]] = {}
    opened: dict[str, list[tuple[Batch, LogOnTheWay]]] = {}
    for batch in desk.work.shown():
        for log in batch.logs:
            if log.status == UNSURE:
                unsure.setdefault(log.words, []).append(log)
            elif log.status == OPEN:
                opened.setdefault(log.header, []).append((batch, log))
    columns = [c for header, logs in opened.items() if (c := _columns(desk, header, logs))]
    return shown(
        "sort",
        ways_home("/sort"),
        status=status,
        problem=problem,
        unsure=[
            (why, [log.name for log in logs], _candidates(book, logs))
            for why, logs in unsure.items()
        ],
        columns=columns,
        quantities=_ASKED,
        places=_places(book),
    )


def _candidates(book: Logbook, logs: list[LogOnTheWay]) -> list[str]:
    named = dict.fromkeys(name for log in logs for name in log.candidates)
    return [*named, *(name for name in book.aircraft() if name not in named)]


def _places(book: Logbook) -> list[str]:
    usual = ["pack 1", "pack 2", "bus", "receiver 1", "left wing", "right wing", "tail", "fuselage"]
    known = [
        node.name for name in book.aircraft() if (p := _profile(book, name)) for node in p.nodes
    ]
    return sorted({*usual, *known})


def _profile(book: Logbook, name: str) -> Any:
    with suppress(BusbookError):
        return book.profile(name)
    return None


def _columns(desk: Desk, header: str, logs: list[tuple[Batch, LogOnTheWay]]) -> Columns | None:
    batch, log = logs[0]
    try:
        listing = _listing(desk, batch, log)
    except BusbookError:
        return None
    asked = _asked(listing)
    return Columns(
        header=header,
        files=tuple(log.name for _, log in logs),
        problem=sentence(log.words),
        questions=tuple(_question(c) for c in asked[:_MOST_COLUMNS]),
        untimed=bool(listing.problem) and not listing.time_form,
    )


def _listing(desk: Desk, batch: Batch, log: LogOnTheWay) -> Listing:
    return describe_columns(
        desk.work.spool.path(batch, log), settings=log.settings, row_interval_s=log.row_interval_s
    )


def _asked(listing: Listing) -> list[ColumnReport]:
    """The columns that matter and are not settled; where none is known, all that hold numbers."""
    open_too = {name for u in listing.unsettled for name in (u.column, u.beside) if name}
    asked = [c for c in listing.columns if c.open or c.channel.column in open_too]
    if asked:
        return asked
    return [
        c
        for c in listing.columns
        if not c.reading and not c.channel.text and c.filled and np.isfinite(c.low)
    ]


def _question(c: ColumnReport) -> Question:
    own = []
    if c.reading:
        own.append(ReadingChoice(c.reading, f"{_reading_words(c.reading)} (as its name says)"))
    rivals = [ReadingChoice(r.reading, _rival_words(r.reading, r.low, r.high)) for r in c.rivals]
    return Question(
        number=c.number,
        title=c.title,
        why=sentence(c.channel.reason or "no word of its name is known"),
        samples=", ".join(c.samples),
        span="" if not np.isfinite(c.low) else f"{c.low:g} to {c.high:g}",
        plot=_plot(c.outline),
        choices=(*own, *rivals),
        unit=c.channel.source_unit,
    )


def _rival_words(reading: str, low: float, high: float) -> str:
    span = f", which would be {low:.4g} to {high:.4g}" if np.isfinite(low) else ""
    return f"{_reading_words(reading)}{span}"


def _reading_words(reading: str) -> str:
    try:
        found = parse_setting(reading)
    except UnknownSetting:
        return reading
    place = f" of {found.place}" if found.place else ""
    unit = f" in {found.unit.symbol}" if found.unit is not None else ""
    return f"{str(found.quantity).replace('-', ' ')}{place}{unit}"


def _plot(outline: tuple[float, ...]) -> str:
    """Points of a line through the values, over their range; "" where there are none."""
    values = np.array(outline)
    if not np.isfinite(values).any():
        return ""
    low, high = np.nanmin(values), np.nanmax(values)
    y = _HIGH - 4 - (values - low) / (high - low if high > low else 1.0) * (_HIGH - 8)
    x = np.linspace(2, _WIDE - 2, len(values))
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True) if np.isfinite(b))


# Answers.


def name_aircraft(request: Request, form: Mapping[str, Any]) -> Response:
    """Whose logs these are, or that they are left out."""
    desk = desk_of(request)
    why = form.get("why", "")
    leave = bool(form.get("leave"))
    name = one_of(form, "new") or one_of(form, "aircraft")
    if not leave:
        try:
            name = aircraft_key(name)
        except BookError as error:
            return _page(desk, f"{sentence(error.what)} {sentence(error.hint)}", 400)
    desk.work.decide(
        lambda log: log.status == UNSURE and log.words == why, aircraft=name, leave=leave
    )
    return gone("/work")


def settle_columns(request: Request, form: Mapping[str, Any]) -> Response:
    """What the columns of logs with one header hold."""
    desk = desk_of(request)
    header = one_of(form, "header")
    logs = [
        (batch, log)
        for batch in desk.work.shown()
        for log in batch.logs
        if log.status == OPEN and log.header == header
    ]
    if not logs:
        return gone("/sort")
    if form.get("leave"):
        desk.work.decide(lambda log: log.status == OPEN and log.header == header, leave=True)
        return gone("/work")
    try:
        settings = _settings(_asked(_listing(desk, *logs[0])), form)
        row_interval_s = _seconds(one_of(form, "row_interval"))
        # Tried on the first of them, so that what is wrong is said here.
        batch, log = logs[0]
        describe_columns(
            desk.work.spool.path(batch, log),
            settings={**log.settings, **settings},
            row_interval_s=row_interval_s or log.row_interval_s,
        )
    except BusbookError as error:
        return _page(desk, f"{sentence(error.what)} {sentence(error.hint)}".strip(), 400)
    desk.work.decide(
        lambda log: log.status == OPEN and log.header == header,
        settings=settings,
        row_interval_s=row_interval_s,
    )
    return gone("/work")


def _seconds(text: str) -> float | None:
    if not text:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = 0.0
    if not 0 < value < 3600:
        raise UnknownSetting(f"'{text[:20]}' is no time between rows", hint="write seconds: 0.5")
    return value


def _settings(columns: list[ColumnReport], form: Mapping[str, Any]) -> dict[str, str]:
    """What was chosen for each column, as settings of the importer."""
    found = {}
    for c in columns[:_MOST_COLUMNS]:
        chosen = one_of(form, f"reading-{c.number}")
        if not chosen:
            raise UnknownSetting(
                f"nothing is chosen for the column '{c.title}'",
                hint="choose what it holds, or that it is not used",
            )
        if chosen in _ASKED:
            place = " ".join(one_of(form, f"place-{c.number}", 60).lower().split())
            if not place or set(place) & set("/[]=\"'"):
                raise UnknownSetting(
                    f"the column '{c.title}' has no place", hint="write where it was measured"
                )
            unit = one_of(form, f"unit-{c.number}", 10) or CANONICAL_UNIT[Quantity(chosen)]
            chosen = f"{place}/{chosen}[{unit}]"
        parse_setting(chosen)
        found[_named(c)] = chosen
    return found


def _named(c: ColumnReport) -> str:
    """A column as a setting names it: by its title, which later logs have too."""
    return f"#{c.number}" if c.title[:1] in ("@", "#", "") else c.title
