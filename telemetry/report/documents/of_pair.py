"""Two flights become a document: what differs first, then both laid over one another."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.model.channels import Quantity
from telemetry.model.text import plain
from telemetry.model.version import made_by
from telemetry.report.document import (
    Block,
    Document,
    FigureBlock,
    FirstPage,
    KeyNumber,
    Paragraph,
    Section,
    Table,
)
from telemetry.report.documents.across import paired
from telemetry.report.draw_pair import flight_name, root_of, stir_of
from telemetry.report.figures.traces import path_order
from telemetry.report.parts.first_page import by_gravity
from telemetry.report.parts.method import cautions_section
from telemetry.report.parts.tables import cells, columns
from telemetry.report.words import (
    LEVEL_WORD,
    NONE,
    answer_words,
    counted,
    date_words,
    quoted,
    sentence,
)
from telemetry.results import Alignment, Difference, FlightPair, Level, PairedFlight

# Numbers on the first page.
_MOST_NUMBERS = 5
_ALIGNED = {
    Alignment.TAKE_OFF: "take-off",
    Alignment.STIR: "the beginning of the first stir",
    Alignment.START: "the first row, for they share neither a take-off nor a stir",
}


def pair_document(pair: FlightPair) -> Document:
    """The whole report of two flights held against one another, as plain records.

    Parameters
    ----------
    pair : FlightPair

    Returns
    -------
    Document
        First page with what differs most, all differences, both flights place by place on one
        scale, the stirs, what each review found, cautions.
    """
    first, second = pair.first, pair.second
    parts = (
        _differences(pair),
        _places(pair),
        _stirs(pair),
        _findings(pair),
        _alike(pair),
        cautions_section(),
    )
    name = plain(pair.history.name)
    return Document(
        title=f"{name}: {flight_name(first)} against {flight_name(second)}",
        file="",
        first=_first_page(pair),
        sections=tuple(p for p in parts if p is not None),
        footer=f"{made_by()}. Advice from logs; no proof of airworthiness.",
        next_step=(
            "All flights of the aircraft together, with what to do before the next one:",
            _history(pair),
        ),
    )


def _first_page(pair: FlightPair) -> FirstPage:
    answer = pair.history.answer
    plainly = [d for d in pair.differences if d.plain_to_see]
    told = "; ".join(f"{plain(d.place)} {d.name} {_change(d)}" for d in plainly[:1])
    more = f", and {counted(len(plainly) - 1, 'more difference')} below" if len(plainly) > 1 else ""
    what = (
        f"What differs most between these flights: {told}{more}."
        if told
        else "Between these flights nothing differs by more than flights usually do."
    )
    return FirstPage(
        aircraft=plain(pair.history.name),
        flight=f"{_named(pair.first)} against {_named(pair.second)}",
        level=answer.level,
        word=answer.word,
        reason=sentence(answer.title),
        answer=sentence(f"the aircraft: {answer_words(answer)}"),
        numbers=tuple(_number(d, pair) for d in pair.differences[:_MOST_NUMBERS]) or (_none(),),
        checks=(f"{_history(pair)} says what to do.",),
        timeline=FigureBlock(
            name="overlay",
            caption=f"{plain(root_of(pair) or 'supply')}: both flights on one scale, aligned at "
            f"{_ALIGNED[pair.alignment]}",
            alt=f"Voltage and current of {flight_name(pair.first)} and {flight_name(pair.second)}. "
            f"{what}",
        ),
    )


def _history(pair: FlightPair) -> str:
    return f"busbook history {quoted(pair.history.name)}"


def _named(one: PairedFlight) -> str:
    start = one.listed.start
    day = "no date" if start is None else f"{date_words(start[:10])}"
    kind = "bench recording" if one.listed.kind == "bench" else "flight"
    return f"{kind[0].upper()}{kind[1:]} {one.number}, {day} ({plain(one.listed.file)})"


def _none() -> KeyNumber:
    return KeyNumber(
        label="Measured in both",
        value="nothing",
        detail="the logs share no place and quantity",
        measured=False,
    )


def _number(d: Difference, pair: FlightPair) -> KeyNumber:
    both = (
        f"{_bare(d.first, d)} in {flight_name(pair.first)}, "
        f"{_bare(d.second, d)} in {flight_name(pair.second)}"
    )
    return KeyNumber(
        label=plain(d.place),
        value=_change(d),
        detail=f"{d.name}: {both}",
        measured=True,
    )


def _bare(value: float, d: Difference) -> str:
    return f"{value:.{d.digits}f}"


def _change(d: Difference) -> str:
    return f"{d.second - d.first:+.{d.digits}f}{' ' if d.unit else ''}{d.unit}"


def _differences(pair: FlightPair) -> Section:
    plainly = [d for d in pair.differences if d.plain_to_see]
    block: Block = Paragraph(
        text="Nothing that both flights measured differs by more than flights usually do. What was "
        "not measured in both cannot be compared."
    )
    if plainly:
        block = _table(pair, "What differs by more than flights usually do", plainly)
    return Section(title="What differs", anchor="differences", blocks=(block,))


def _alike(pair: FlightPair) -> Section | None:
    rest = [d for d in pair.differences if not d.plain_to_see]
    if not rest:
        return None
    table = _table(pair, "By no more than flights usually do", rest, brief=False)
    return Section(title="What differs no more than usual", anchor="alike", blocks=(table,))


def _table(
    pair: FlightPair, caption: str, rows: Sequence[Difference], *, brief: bool = True
) -> Table:
    return Table(
        caption=caption,
        columns=columns(
            "Place",
            "What",
            f">No. {pair.first.number}",
            f">No. {pair.second.number}",
            ">Change",
            "Others",
        ),
        rows=tuple(
            cells(
                plain(d.place),
                d.name,
                _bare(d.first, d),
                _bare(d.second, d),
                _change(d),
                _others(d),
            )
            for d in rows
        ),
        note="The most unusual change first; what three places or more share, such as a harder "
        "stir, is taken out before. Others: lowest to highest of the aircraft's other flights."
        if brief
        else "",
        brief=brief,
    )


def _others(d: Difference) -> str:
    if d.usual_low is None or d.usual_high is None:
        return NONE
    return f"{_bare(d.usual_low, d)} to {_bare(d.usual_high, d)}"


def _places(pair: FlightPair) -> Section | None:
    """Both flights at every place but the root, the place that differs most first."""
    named = [
        r.place
        for one in (pair.first, pair.second)
        for q in (Quantity.VOLTAGE, Quantity.CURRENT)
        for r in one.review.readings.of(q)
        if r.size and r.place and r.place != root_of(pair)
    ]
    aircraft = pair.history.aircraft
    places = paired(path_order(named, aircraft), aircraft)
    worst = {d.place: d.score for d in reversed(pair.differences)}
    blocks = tuple(
        FigureBlock(
            name="overlay",
            place=p,
            caption=f"{plain(p)[0].upper()}{plain(p)[1:]}: both flights, aligned at "
            f"{_ALIGNED[pair.alignment]}",
            alt=f"Voltage and current of {plain(p)} in both flights. {_told_of(pair, p)}",
        )
        for p in sorted(places, key=lambda p: -worst.get(p, 0.0))
    )
    if not blocks:
        return None
    return Section(title="Place by place, on one scale", anchor="places", blocks=blocks)


def _told_of(pair: FlightPair, place: str) -> str:
    found = [d for d in pair.differences if d.place == place and d.plain_to_see]
    words = "; ".join(f"{d.name} {_bare(d.first, d)}, then {_bare(d.second, d)}" for d in found)
    return f"{sentence(words)}" if words else "Nothing differs by more than flights usually do."


def _stirs(pair: FlightPair) -> Section | None:
    """The first stir of each, where both have one."""
    stirs = [stir_of(one) for one in (pair.first, pair.second)]
    if pair.alignment is Alignment.STIR or None in stirs:
        return None
    both = [{p.place for p in s.places} for s in stirs if s is not None]
    aircraft = pair.history.aircraft
    places = paired(path_order(sorted(both[0] & both[1]), aircraft), aircraft)
    blocks = tuple(
        FigureBlock(
            name="stirs",
            place=p,
            caption=f"{plain(p)[0].upper()}{plain(p)[1:]}: the first stir of both flights",
            alt=f"Voltage and current of {plain(p)} in the first stir of both flights.",
        )
        for p in places
    )
    return Section(title="The stirs", anchor="stirs", blocks=blocks) if blocks else None


def _findings(pair: FlightPair) -> Section:
    rows = [
        cells(
            str(one.number), LEVEL_WORD[f.level], plain(f.place or "whole log"), sentence(f.title)
        )
        for one in (pair.first, pair.second)
        for f in by_gravity(one.review.findings)
        if f.level is not Level.CLEAR
    ]
    block: Block = Paragraph(text="The review of neither flight found anything by itself.")
    if rows:
        block = Table(
            caption="What the review of each flight by itself found",
            columns=columns("No.", "Level", "Place", "Finding"),
            rows=tuple(rows),
        )
    return Section(title="What each review found", anchor="findings", blocks=(block,))
