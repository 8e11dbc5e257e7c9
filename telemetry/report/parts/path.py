"""The power path in a report: the figure with its numbers, and where wire table and log differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from telemetry.aircraft import Aircraft
from telemetry.aircraft.wire import compare
from telemetry.model.text import plain
from telemetry.numerics.intervals import Interval
from telemetry.readings import lowest_voltage
from telemetry.report.document import FigureBlock
from telemetry.report.figures.stops import stops_of
from telemetry.report.figures.traces import working_spans
from telemetry.report.words import NONE, NumberSteps
from telemetry.results import Flight, Level, Resistance, Review

HEADINGS = ("low V", "high A", "mOhm", "margin V")


@dataclass(frozen=True, slots=True, kw_only=True)
class PathPicture:
    """What the figure of a power path shows.

    Attributes
    ----------
    aircraft : Aircraft
    headings : tuple of str
    numbers : mapping
        Place to its numbers in words, one for each heading.
    amps : mapping
        Place to the highest current through what joins it to the path, A.
    levels : mapping
        Place to the worst level of its findings.
    """

    aircraft: Aircraft
    headings: tuple[str, ...]
    numbers: Mapping[str, Sequence[str]] = field(default_factory=dict)
    amps: Mapping[str, float] = field(default_factory=dict)
    levels: Mapping[str, Level] = field(default_factory=dict)

    @property
    def alt(self) -> str:
        """The same in words: each place with what is known of it."""
        parts = []
        for stop in stops_of(self.aircraft):
            found = self.numbers.get(stop.place, ())
            known = [f"{h} {n}" for h, n in zip(self.headings, found, strict=False) if n != NONE]
            if (level := self.levels.get(stop.place)) is not None and level > Level.UNKNOWN:
                known.append(f"finding: {level.value}")
            parts.append(f"{plain(stop.place)}: {', '.join(known) or 'nothing measured'}")
        return "The power path, from the packs to the nodes. " + "; ".join(parts) + "."


def picture_of(review: Review, number: int) -> PathPicture:
    """The path of one flight of a review, counted from 0."""
    flight, steps = review.flights[number], NumberSteps.of(review)
    levels: dict[str, Level] = {}
    for f in review.findings:
        if f.place is not None and f.flight in (None, number + 1):
            levels[f.place] = max(levels.get(f.place, Level.CLEAR), f.level)
    peaks = {load.place: load.peak_a for load in flight.loads if load.peak_a is not None}
    for supply in review.aircraft.supplies:
        # What flows through a switch with one pack before it is what that pack gives.
        if len(supply.fed_from) == 1 and supply.fed_from[0] in peaks:
            peaks.setdefault(supply.name, peaks[supply.fed_from[0]])
    loaded = working_spans(flight)
    numbers = {}
    for stop in stops_of(review.aircraft):
        place = stop.place
        low = lowest_voltage(review.readings, place, loaded)
        margin = next((m.observed_v for m in flight.margins if m.place == place), None)
        own = _own_resistance(flight, place)
        numbers[place] = (
            steps.bare_volts(None if low is None else low.value, place),
            steps.bare_amps(peaks.get(place), place),
            _mohm(own),
            steps.bare_volts(margin, place),
        )
    return PathPicture(
        aircraft=review.aircraft, headings=HEADINGS, numbers=numbers, amps=peaks, levels=levels
    )


def _mohm(r: Resistance | None) -> str:
    """A resistance in few letters: whole numbers, the interval with a dash."""
    if r is None or r.mohm is None:
        return NONE
    ends = "" if r.low_mohm is None or r.high_mohm is None else f" ({_range(r)})"
    return f"{r.mohm:.0f}{ends}"


def _range(r: Resistance) -> str:
    return f"{max(r.low_mohm or 0.0, 0.0):.0f}-{r.high_mohm:.0f}"


def _own_resistance(flight: Flight, place: str) -> Resistance | None:
    """Of packs and the root that of the source, else that of the lead."""
    for kind in ("source", "branch"):
        for r in flight.resistances:
            if r.place == place and r.kind == kind and r.mohm is not None:
                return r
    return None


def path_figure(review: Review, number: int, before: str) -> FigureBlock | None:
    """The figure of the path of one flight; None where there is none."""
    picture = picture_of(review, number)
    if not picture.numbers:
        return None
    caption = (
        f"{before}The power path. Wider lines carried more. Lowest voltage in stir and flight, "
        "highest current, resistance (of packs and bus: of the source; else of lead and contacts) "
        "with its 95 % interval, margin to restart. Triangle: watch; octagon: ground it."
    )
    return FigureBlock(name="path", flight=number, caption=caption, alt=picture.alt)


def differences(flight: Flight) -> tuple[str, ...]:
    """Where a measured resistance surely differs from what the wire table expects."""
    return tuple(words for r in flight.resistances if (words := _difference(r)) is not None)


def _difference(r: Resistance) -> str | None:
    ends = (r.expected_mohm, r.expected_low_mohm, r.expected_high_mohm)
    if r.kind != "branch" or r.mohm is None or None in ends:
        return None
    measured = Interval(
        r.mohm,
        min(r.mohm if r.low_mohm is None else r.low_mohm, r.mohm),
        max(r.mohm if r.high_mohm is None else r.high_mohm, r.mohm),
    )
    expected = Interval(*(float(x or 0.0) for x in ends))
    found = compare(measured, expected)
    if not found.differs:
        return None
    excess = found.excess_mohm
    more = excess.value > 0
    size = (
        f"{abs(excess.value):.0f} mOhm ({min(abs(excess.low), abs(excess.high)):.0f} to "
        f"{max(abs(excess.low), abs(excess.high)):.0f})"
    )
    what = (
        "contacts, or more lead than the profile says"
        if more
        else "less lead than the profile says, or better contacts"
    )
    return (
        f"{plain(r.parent or '')} to {plain(r.place)}: measured {size} "
        f"{'more' if more else 'less'} than the {expected.value:.0f} mOhm expected: {what}."
    )
