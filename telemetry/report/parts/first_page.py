"""The first page: one look, one answer."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.text import plain
from telemetry.readings import Readings, highest_current
from telemetry.report.asks import capacity_line
from telemetry.report.document import FigureBlock, FirstPage, KeyNumber
from telemetry.report.figures.traces import lowest_judged, of_quantity, working_spans
from telemetry.report.parts.tables import flight_name
from telemetry.report.words import (
    LEVEL_STATE,
    LEVEL_WORD,
    NOT_MEASURED,
    NumberSteps,
    answer_words,
    clock,
    counted,
    date_words,
    earlier_words,
    lasting,
    sentence,
)
from telemetry.results import Charge, ChargeBasis, Finding, Level, PhaseKind, Review
from telemetry.results.findings import standing_alone

_FIRST = (
    "Before any stir or bench step: motor or engine off and secured against starting (propeller "
    "clear or removed, ignition off, turbine shut down), aircraft restrained, people clear."
)
# As many as leave room for the timeline on the first screen.
_MOST_CHECKS = 3


def first_page(review: Review, profile: str = "NAME") -> FirstPage:
    """Aircraft, flight, verdict with its reason, five numbers, timeline, and what to check."""
    answer, readings = review.answer, review.readings
    numbers = key_numbers(review, readings, profile)
    same = answer.level is review.verdict
    return FirstPage(
        aircraft=aircraft_name(review),
        flight=recording_words(review),
        level=answer.level,
        word=LEVEL_WORD[answer.level] if same else answer.word,
        reason=alone_reason(review) if same else sentence(answer.title),
        answer=_answer_line(review),
        numbers=numbers,
        checks=checks((*review.aircraft_open, *review.findings), _told_by(review)),
        timeline=_timeline(review, readings, numbers[0]),
    )


def _told_by(review: Review) -> str:
    return "this log" if review.answer.aircraft is None else "these flights"


def alone_reason(review: Review) -> str:
    """Why this log alone says what it says."""
    return reason(review.findings, _nothing_found(review), lambda f: flight_name(review, f.flight))


def _answer_line(review: Review) -> str:
    """How the aircraft stands, and this log alone where that differs; "" where none is known."""
    answer = review.answer
    if answer.aircraft is None:
        return ""
    whose = f"the aircraft: {answer_words(answer)}."
    if answer.level is not review.verdict:
        whose = f"this log alone: {LEVEL_STATE[review.verdict]}; {whose}"
    return f"{sentence(whose)} {earlier_words(answer)}".rstrip()


def aircraft_name(review: Review) -> str:
    """The aircraft's name; says so where it has none."""
    name = plain(review.aircraft.name).strip()
    return "Unnamed aircraft" if name in ("", "unnamed") else name


def recording_words(review: Review) -> str:
    """When it was and what it holds: "14 May 2026, 10:32. One flight, 15 min 00 s recorded"."""
    kinds = [f.kind for f in review.flights]
    flights, benches = kinds.count("flight"), kinds.count("bench")
    parts = []
    if flights:
        parts.append("one flight" if flights == 1 else f"{flights} flights")
    if benches:
        parts.append("one bench recording" if benches == 1 else f"{benches} bench recordings")
    held = " and ".join(parts) or "no flight recognised"
    when = date_words(review.log.provenance.start) or "No date in the file"
    return f"{when}. {held[0].upper()}{held[1:]}, {lasting(review.log.duration_s)} recorded"


def by_gravity(findings: Iterable[Finding]) -> list[Finding]:
    """Findings, the worst first; equal ones in the order given."""
    return sorted(findings, key=lambda f: -f.level.rank)


def reason(
    findings: Iterable[Finding], otherwise: str, flight: Callable[[Finding], str] = lambda _: ""
) -> str:
    """Why the verdict is what it is, in one sentence; ``otherwise`` where nothing was found.

    ``flight`` names the flight of a finding, "" where it needs no name.
    """
    alone = standing_alone(by_gravity(findings))
    found = [f for f in alone if f.level is not Level.CLEAR]
    if not found:
        return otherwise
    head = ", ".join(x for x in (flight(found[0]), plain(found[0].title).rstrip(".")) if x)
    more = len(found) - 1
    return f"{sentence(head)[:-1]}" + (f"; {more} more below." if more else ".")


def _nothing_found(review: Review) -> str:
    dip = review.quality.shortest_sure_dip_s
    seen = "a short dip" if dip is None else f"a dip shorter than {lasting(dip)}"
    return f"Nothing in this log asks for action; {seen} may not show in it."


def checks(findings: Iterable[Finding], told_by: str = "this log") -> tuple[str, ...]:
    """What to do before the next flight and where, the worst first."""
    asked: dict[str, dict[str, None]] = {}
    for finding in standing_alone(by_gravity(findings)):
        if finding.level is not Level.CLEAR and (finding.advice or finding.confirm):
            places = asked.setdefault(sentence(finding.advice or finding.confirm), {})
            if finding.place is not None:
                places.setdefault(plain(finding.place))
    shown = [_at_places(advice, list(places)) for advice, places in asked.items()][:_MOST_CHECKS]
    if len(asked) > len(shown):
        shown.append(f"{len(asked) - len(shown)} more: see Findings.")
    if shown:
        shown.insert(0, _FIRST)
    else:
        shown.append(f"Nothing in {told_by} asks for a particular check.")
    shown.append("Your usual checks before flight remain: see Cautions.")
    return tuple(shown)


def _at_places(advice: str, places: list[str]) -> str:
    """An advice with the places it is for: "Left wing: clean or replace that plug."."""
    if not places or any(p.casefold() in advice.casefold() for p in places):
        return advice
    named = ", ".join(places)
    # A word such as LiPo keeps its capitals.
    first = advice if advice[1:2].isupper() else advice[0].lower() + advice[1:]
    return f"{named[0].upper()}{named[1:]}: {first}"


def key_numbers(review: Review, readings: Readings, profile: str = "NAME") -> tuple[KeyNumber, ...]:
    """Lowest voltage, highest current, charge used, margin to restart, flights left."""
    steps = NumberSteps.of(review)
    return (
        _lowest_voltage(review, readings, steps),
        _highest_current(review, readings, steps),
        _charge_used(review, steps),
        _margin(review, steps),
        _flights_left(review, profile),
    )


def _known(label: str, value: str | None, detail: str, line: str = "") -> KeyNumber:
    """A number in words; None for one that was not measured, with the reason in ``detail``."""
    shown = NOT_MEASURED if value is None else value
    return KeyNumber(label=label, value=shown, detail=detail, measured=value is not None, line=line)


def _phase_at(review: Review, time_s: float) -> str:
    for flight in review.flights:
        for phase in flight.phases:
            if phase.start_s <= time_s < phase.end_s:
                return {
                    PhaseKind.FLIGHT: "in flight",
                    PhaseKind.STIR: "in a stir",
                    PhaseKind.REDUNDANCY_CHECK: "in a redundancy check",
                    PhaseKind.GROUND: "on the ground",
                }[phase.kind]
    return ""


def _where(review: Review, place: str, time_s: float | None, flight: int | None) -> str:
    parts = [plain(place), flight_name(review, flight)]
    if time_s is not None:
        parts += [_phase_at(review, time_s), f"at {clock(time_s)}"]
    return ", ".join(p for p in parts if p)


def _flight_at(review: Review, time_s: float) -> int | None:
    inside = (n for n, f in enumerate(review.flights, 1) if f.start_s <= time_s < f.end_s)
    return next(inside, None)


def _lowest_voltage(review: Review, readings: Readings, steps: NumberSteps) -> KeyNumber:
    label = "Lowest voltage"
    low = lowest_judged(review, readings)
    if low is None:
        return _known(label, None, "no place with a voltage was judged")
    where = _where(review, low.place, low.time_s, low.flight)
    by = ", by the unit's own minimum" if low.held else ""
    return _known(label, steps.volts(low.volts, low.place), f"{where}{by}")


def _highest_current(review: Review, readings: Readings, steps: NumberSteps) -> KeyNumber:
    loaded = [span for flight in review.flights for span in working_spans(flight)]
    places = [r.place for r in of_quantity(readings, Quantity.CURRENT, review.aircraft)]
    tops = [(top, p) for p in places if (top := highest_current(readings, p, loaded)) is not None]
    if not tops:
        return _known("Highest current", None, "the log has no current")
    top, place = max(tops, key=lambda k: k[0].value)
    where = _where(review, place, top.time_s, _flight_at(review, top.time_s))
    by = ", by the unit's own maximum" if top.held else ""
    return _known("Highest current", steps.amps(top.value, place), f"{where}{by}")


def _used(charge: Charge) -> float | None:
    return charge.integrated_mah if charge.logged_mah is None else charge.logged_mah


def _pack_charge(review: Review) -> dict[str, float]:
    """Charge used of each pack over all flights of the recording, mAh."""
    used: dict[str, float] = {}
    for flight in review.flights:
        for charge in flight.charge:
            mah = _used(charge)
            if mah is not None and review.aircraft.kind(charge.place) is PlaceKind.PACK:
                used[charge.place] = used.get(charge.place, 0.0) + mah
    return used


def _charge_used(review: Review, steps: NumberSteps) -> KeyNumber:
    label = "Charge used"
    packs = _pack_charge(review)
    if packs:
        each = " + ".join(f"{plain(p)} {steps.mah(v, p)}" for p, v in packs.items())
        detail = each if len(packs) > 1 else plain(next(iter(packs)))
        return _known(label, steps.mah(sum(packs.values())), detail)
    others = [
        (c.place, mah) for f in review.flights for c in f.charge if (mah := _used(c)) is not None
    ]
    if not others:
        return _known(label, None, "the log has neither a counter nor a current")
    place = max(others, key=lambda c: c[1])[0]
    total = sum(mah for p, mah in others if p == place)
    return _known(label, steps.mah(total, place), f"counted at {plain(place)}")


def _margin(review: Review, steps: NumberSteps) -> KeyNumber:
    label = "Margin to restart"
    known = [
        (m.observed_v, m, number)
        for number, f in enumerate(review.flights, 1)
        for m in f.margins
        if m.observed_v is not None
    ]
    if not known:
        return _known(label, None, "no place with a voltage was judged")
    value, margin, number = min(known, key=lambda k: k[0])
    where = _where(review, margin.place, None, number)
    detail = f"{where}, above {steps.volts(margin.restart_v, margin.place)}"
    return _known(label, steps.volts(value, margin.place), detail)


def _flights_left(review: Review, profile: str) -> KeyNumber:
    label = "More flights like this"
    if [f.kind for f in review.flights].count("flight") < 1:
        return _known(label, None, "needs a recording of a flight")
    packs = review.flights[-1].packs
    left = [s.flights_left for s in packs if s.flights_left is not None]
    if not left or len(left) < len(packs):
        line = capacity_line(review.aircraft, [s.place for s in packs], profile)
        why = "no pack capacity in the profile" if line else "the log has no charge of each pack"
        return _known(label, None, why, line)
    reserve = f"{review.limits.reserve_pct:.0f} % kept in reserve"
    taken = any(s.basis == ChargeBasis.FULL for s in packs)
    return _known(label, str(min(left)), f"if the packs were full; {reserve}" if taken else reserve)


def _timeline(review: Review, readings: Readings, low: KeyNumber) -> FigureBlock | None:
    electrical = (Quantity.VOLTAGE, Quantity.CURRENT)
    if not any(of_quantity(readings, q, review.aircraft) for q in electrical):
        return None
    events = sum(len(f.events) for f in review.flights)
    stirs = sum(len(f.stirs) for f in review.flights)
    alt = (
        f"Voltages above, currents below, over the time of the recording. "
        f"{counted(stirs, 'stir').capitalize()}, {counted(events, 'event')}. "
        f"{low.label}: {low.value}, {low.detail}."
    )
    return FigureBlock(name="timeline", caption="The whole recording", alt=alt)
