"""A history becomes a document: what all flights of one aircraft together tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from statistics import median

from telemetry.model.channels import EVERY_PLACE, PlaceKind
from telemetry.model.text import plain
from telemetry.model.version import made_by
from telemetry.report.asks import capacity_line
from telemetry.report.document import (
    Block,
    Bullets,
    Document,
    FindingBlock,
    FirstPage,
    KeyNumber,
    Paragraph,
    Section,
)
from telemetry.report.documents.across import STEP, Across, flights_on_a_charge
from telemetry.report.documents.history_figures import season_figure, trend_figure
from telemetry.report.documents.history_notes import closed_blocks, notes_section
from telemetry.report.documents.history_parts import (
    currents_section,
    flights_section,
    judged_section,
    leads_section,
    packs_section,
    voltages_section,
)
from telemetry.report.parts.checked import checked_across_section
from telemetry.report.parts.facts import beneath, cause_words, causes_head, facts
from telemetry.report.parts.first_page import by_gravity, checks, reason
from telemetry.report.parts.method import BEFORE_BENCH, cautions_section, limits_section
from telemetry.report.words import (
    NOT_MEASURED,
    NumberSteps,
    answer_words,
    counted,
    date_words,
    earlier_words,
    flights_counted,
    lasting,
    limit_words,
    measure,
    number,
    quoted,
    sentence,
)
from telemetry.results import Change, Finding, History, Level
from telemetry.results.findings import standing_alone

# Flights that a baseline takes before anything can be told.
_FEW = 3
# Evidence that the change of a finding tells already, or that only the figure can show.
_TOLD = {"rise", "flights_since", "chart", "chart_limit", "p_trend", "p_chance", "usual_stir_a"}
_TOLD |= {
    "stir_a",
    "usual_mohm",
    "mohm",
    "rise_mohm",
    "rise_pct",
    "servo_share_pct",
    "servos_known",
}


def history_document(history: History, links: Mapping[str, str] | None = None) -> Document:
    """The whole report of one aircraft's flights, as plain records.

    Parameters
    ----------
    history : History
    links : mapping of str to str, optional
        The page of each flight's review, beside the report, by the flight's id.

    Returns
    -------
    Document
        First page, findings with the figure that proves each, voltages, currents, leads and
        sources, packs, flights, notes, what was judged, limits, cautions.
    """
    across = Across.of(history, links)
    name = plain(history.name)
    parts = (
        _findings(across),
        voltages_section(across),
        currents_section(across),
        leads_section(across),
        packs_section(across),
        flights_section(across),
        notes_section(across),
        checked_across_section(history.checks),
        judged_section(across),
        limits_section(history.aircraft, history.aircraft.limits),
        cautions_section(),
    )
    return Document(
        title=f"{name}: history of {counted(len(history.flights), 'recording')}",
        file="",
        first=_first_page(across),
        sections=tuple(p for p in parts if p is not None),
        footer=f"{made_by()}. Advice from logs; no proof of airworthiness.",
        next_step=_next_step(across),
    )


def _next_step(across: Across) -> tuple[str, str]:
    history = across.history
    name = quoted(history.name)
    repairable = [f for f in history.open if f.place and f.level > Level.UNKNOWN]
    if repairable:
        place = quoted(repairable[0].place or "")
        return (
            "When it is put right, note it, and that place begins a new baseline:",
            f'busbook note {name} "what was done" --kind repaired --place {place}',
        )
    return (
        "The same with figures, and a report of every flight to open from it:",
        f"busbook history {name} --out reports",
    )


def _first_page(across: Across) -> FirstPage:
    history = across.history
    level = history.verdict
    otherwise = (
        f"Nothing that lasts was found in {counted(len(history.flights), 'recording')}; a change "
        "smaller than the limits, or one that began a flight or two ago, may not show yet."
    )
    if level is Level.UNKNOWN and not history.open:
        otherwise = "Nothing could be judged across these flights: it takes three at the least."
    elif begun := _begun_anew(across):
        otherwise += f" {counted(len(begun), 'place')} just put right cannot be judged yet."
    return FirstPage(
        aircraft=plain(history.name),
        flight=_season_words(across),
        level=level,
        word=history.word,
        reason=reason(history.open, otherwise),
        answer=" ".join(
            filter(None, (sentence(answer_words(history.answer)), earlier_words(history.answer)))
        ),
        numbers=(
            _flights(across),
            _parts(across),
            _lowest(across),
            _charge(across),
            _on_a_charge(across),
        ),
        checks=checks(history.open, "these flights"),
        timeline=season_figure(across),
    )


def _season_words(across: Across) -> str:
    flights = across.history.flights
    days = [f.start[:10] for f in flights if f.start is not None]
    span = ""
    if days:
        first, last = date_words(min(days)), date_words(max(days))
        span = f", {first}" if first == last else f", {first} to {last}"
    return f"History of {flights_counted(f.kind for f in flights)}{span}"


def _number(label: str, value: str | None, detail: str, line: str = "") -> KeyNumber:
    """A number in words; None for one that was not measured, with the reason in ``detail``."""
    shown = NOT_MEASURED if value is None else value
    return KeyNumber(label=label, value=shown, detail=detail, measured=value is not None, line=line)


def _flights(across: Across) -> KeyNumber:
    flights = across.history.flights
    air_s = sum(f.flight_s or 0.0 for f in flights)
    flown = sum(f.kind != "bench" for f in flights)
    return _number("Flights", str(flown), f"{lasting(air_s)} in the air")


def _parts(across: Across) -> KeyNumber:
    grave = [f for f in by_gravity(across.history.open) if f.level > Level.UNKNOWN]
    places = list(dict.fromkeys(plain(f.place or "whole aircraft") for f in grave))
    return _number("Places to look at", str(len(places)), ", ".join(places) or "none found")


def _lowest(across: Across) -> KeyNumber:
    found = [
        (value, n, place, phase)
        for feature, phase in (("lowest_flight_v", "in flight"), ("lowest_stir_v", "in a stir"))
        for place in across.places(feature)
        for n, value in across.known(place, feature)
    ]
    if not found:
        return _number("Lowest voltage", None, "no place with a voltage")
    # A pack that is switched off shows nothing that anything was fed with.
    kind = across.history.aircraft.kind
    fed = [f for f in found if kind(f[2]) is not PlaceKind.PACK]
    value, n, place, phase = min(fed or found)
    return _number("Lowest voltage", measure(value, "V"), f"{plain(place)}, {phase}, No. {n}")


def _charge(across: Across) -> KeyNumber:
    label = "Charge a flight"
    packs = across.packs
    rows = [across.values(p, "used_mah") for p in packs]
    sums = [
        (sum(v for v in day if v is not None), n)
        for n, (flight, *day) in enumerate(zip(across.history.flights, *rows, strict=True), 1)
        if flight.kind != "bench" and day and None not in day
    ]
    if not sums:
        return _number(label, None, "no flight has the charge of each pack")
    most, n = max(sums)
    usual = measure(median(s for s, _ in sums), "mAh")
    of = "all packs together" if len(packs) > 1 else plain(packs[0])
    return _number(label, usual, f"median, {of}; most {measure(most, 'mAh')} in No. {n}")


def _on_a_charge(across: Across) -> KeyNumber:
    label = "Flights on a charge"
    sizes = {p.name: p.capacity_mah for p in across.history.aircraft.packs}
    reserve = across.history.aircraft.limits.reserve_pct
    fits = []
    for pack in across.packs:
        capacity = sizes.get(pack)
        used = [v for _, v in across.known(pack, "used_mah")]
        if capacity is None or not used or max(used) <= 0:
            line = capacity_line(across.history.aircraft, across.packs, across.history.name)
            why = "no pack capacity in the profile" if line else "a pack without a charge"
            return _number(label, None, why, line)
        fits.append(flights_on_a_charge(capacity, reserve, max(used)))
    if not fits:
        return _number(label, None, "the logs have no charge of each pack")
    return _number(label, str(min(fits)), f"like the thirstiest; {reserve:.0f} % kept in reserve")


def _findings(across: Across) -> Section:
    blocks: list[Block] = []
    for finding in standing_alone(by_gravity(across.history.open)):
        since = finding.since_flight
        where = [plain(w) for w in (finding.place, finding.servo) if w]
        if since is not None and since in across.number:
            where.append(f"since {across.flight_words(since)}{_last_seen(across, finding)}")
        blocks.append(
            FindingBlock(
                level=finding.level,
                title=sentence(finding.title).rstrip("."),
                where=", ".join(where),
                facts=_facts(finding),
                explanations=cause_words(finding),
                causes_head=causes_head(finding, "these flights"),
                beneath=beneath(finding, across.history.open),
                confirm=sentence(finding.confirm),
                advice=sentence(finding.advice),
                code=finding.code,
                place=finding.place or "",
                figure=trend_figure(across, finding),
                links=_links(across, since),
            )
        )
    if blocks:
        blocks.insert(0, Paragraph(text=BEFORE_BENCH))
    else:
        blocks.append(
            Paragraph(
                text="Nothing is open across these flights. They show only what was logged, "
                "and do not clear the aircraft to fly."
            )
        )
    if begun := _begun_anew(across):
        blocks.append(Bullets(items=begun))
    blocks += closed_blocks(across)
    return Section(title="Findings", anchor="findings", blocks=tuple(blocks))


def _last_seen(across: Across, finding: Finding) -> str:
    """When it was last seen, where later flights did not show it."""
    last, newest = finding.last_flight, across.history.flights[-1].id
    if last is None or last in (newest, finding.since_flight) or last not in across.number:
        return ""
    return f", last seen in No. {across.number[last]}"


def _begun_anew(across: Across) -> tuple[str, ...]:
    """Places whose baseline has just begun anew: what was found there before is closed."""
    last = {n.place: n for n in across.history.notes if n.restarts}
    words = []
    for named, note in last.items():
        place = "every place" if named == EVERY_PLACE else named
        since = len(across.history.flights) - note.before
        if since < _FEW:
            words.append(
                f"{sentence(place or '')[:-1]}: {note.kind} on "
                f"{date_words(note.date[:10])} ({plain(note.text)}). Its baseline began anew with "
                f"{counted(since, 'flight')} since; it takes {_FEW} before anything can be told."
            )
    return tuple(words)


def _links(across: Across, since: str | None) -> tuple[tuple[str, str], ...]:
    """The first flight with it, and the last one, where they can be opened."""
    last = across.history.flights[-1].id
    wanted = [("Open the flight it began with", since), ("Open the last flight", last)]
    return tuple(
        (words, across.links[flight])
        for words, flight in wanted
        if flight is not None and flight in across.links
    )


def _facts(finding: Finding) -> tuple[tuple[str, str], ...]:
    """What changed, by how much, how fast, until when, how sure; then the other evidence."""
    rows: list[tuple[str, str]] = []
    change = finding.change
    if change is not None:
        rows += _change_facts(change)
    rest = {k: v for k, v in finding.evidence.items() if k not in _TOLD}
    if finding.evidence.get("servos_known") == "assumed":
        rest["servos"] = f"{rest.get('servos')}, assumed: the profile does not say"
    rows += facts(replace(finding, evidence=rest), NumberSteps({}))
    p = finding.evidence.get("p_trend", finding.evidence.get("p_chance"))
    if isinstance(p, float):
        rows.append(("chance of that by luck alone", _chance(p)))
    if change is not None:
        rows.append(
            (
                "false alarms at this level",
                f"1 in {round(1 / change.false_alarm, -1):.0f} healthy books of 100 flights",
            )
        )
    return tuple(rows)


def _change_facts(change: Change) -> list[tuple[str, str]]:
    rows = []
    step = STEP.get(change.unit, 0.01)
    if change.before is not None and change.now is not None:
        usual, now = number(change.before, step), number(change.now, step)
        rows.append((change.quantity, f"usual {usual}, now {now} {change.unit}"))
    unit = change.rise_unit
    step = STEP.get(change.rise_symbol, 0.01)
    rows.append(("rise", _spread(change.rise, change.low, change.high, unit, step)))
    if change.per_flight is not None:
        low, high = change.per_flight_low, change.per_flight_high
        rate = f"{change.rise_symbol} a flight"
        rows.append(("rate", _spread(change.per_flight, low, high, rate, step / 10)))
    if change.limit is not None:
        until = limit_words(change)
        reached = f"{number(change.limit, step)} {unit}"
        rows.append(("next limit", f"{reached}, {until}" if until else reached))
    return rows


def _spread(value: float, low: float | None, high: float | None, unit: str, step: float) -> str:
    shown = f"{number(value, step)} {unit}"
    if low is None or high is None:
        return shown
    return f"{shown} ({number(low, step)} to {number(high, step)})"


def _chance(p: float) -> str:
    if p < 0.0001:
        return "under 1 in 10 000"
    return f"1 in {round(1 / p)}" if p < 0.1 else f"{100 * p:.0f} %"
