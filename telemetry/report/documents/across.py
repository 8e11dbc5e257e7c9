"""What the report of a history is made from: its flights by number, its features by place."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from urllib.parse import quote

from telemetry.aircraft import Aircraft
from telemetry.model.channels import PlaceKind
from telemetry.model.text import plain
from telemetry.report.figures.traces import path_order
from telemetry.report.words import date_words, day_words
from telemetry.results import Feature, Finding, History, Trend

# Digits worth showing, as a step in the unit.
STEP = {"V": 0.01, "A": 0.01, "mAh": 1.0, "mOhm": 0.1, "%": 1.0, "mAh/min": 1.0, "": 0.01}


@dataclass(frozen=True, slots=True)
class Across:
    """A history with everything looked up by flight, place and feature.

    Attributes
    ----------
    history : History
    links : mapping of str to str
        Page of each flight's review, by the flight's id, where there is one beside the report;
        quoted as a link is.
    rows : mapping
        By (place, feature): one Feature a flight, in order; None where not measured.
    number : mapping of str to int
        No. of a flight in the table, from 1, by its id.
    """

    history: History
    links: Mapping[str, str]
    rows: Mapping[tuple[str, str], tuple[Feature | None, ...]] = field(repr=False)
    number: Mapping[str, int] = field(repr=False)

    @classmethod
    def of(cls, history: History, links: Mapping[str, str] | None = None) -> Across:
        """Look everything up once."""
        number = {flight.id: k for k, flight in enumerate(history.flights, 1)}
        rows: dict[tuple[str, str], list[Feature | None]] = {}
        for f in history.features:
            row = rows.setdefault((f.place, f.feature), [None] * len(number))
            row[number[f.flight] - 1] = f
        return cls(
            history=history,
            links={flight: quote(link) for flight, link in (links or {}).items()},
            rows={key: tuple(row) for key, row in rows.items()},
            number=number,
        )

    def row(self, place: str, feature: str) -> tuple[Feature | None, ...]:
        """One feature of one place, flight by flight."""
        return self.rows.get((place, feature), (None,) * len(self.history.flights))

    def values(self, place: str, feature: str) -> tuple[float | None, ...]:
        """Its values alone; None where not measured."""
        return tuple(None if f is None else finite(f.value) for f in self.row(place, feature))

    def known(self, place: str, feature: str) -> list[tuple[int, float]]:
        """No. and value of the flights that have it, in order."""
        row = enumerate(self.values(place, feature), 1)
        return [(n, v) for n, v in row if v is not None]

    def places(self, *features: str) -> tuple[str, ...]:
        """Places that have any of these features, in the order of the path, mirrors together."""
        found = {p for p, f in self.rows if f in features}
        return self.in_order(sorted(found))

    def in_order(self, places: Iterable[str]) -> tuple[str, ...]:
        """Places in the order of the path, mirrors together."""
        aircraft = self.history.aircraft
        return paired(path_order(places, aircraft), aircraft)

    def trend(self, code: str, place: str) -> int | None:
        """Index of a trend among those of the history."""
        for k, trend in enumerate(self.history.trends):
            if (trend.code, trend.place) == (code, place):
                return k
        return None

    def trends(self, code: str) -> list[tuple[int, Trend]]:
        """The trends of one kind with their indices, mirrors together."""
        found = {t.place: (k, t) for k, t in enumerate(self.history.trends) if t.code == code}
        return [found[p] for p in self.in_order(found)]

    def found_at(self, place: str) -> bool:
        """Whether a finding is about a place or its mirror: the sound one shows what is normal."""
        aircraft = self.history.aircraft
        named = {p for f in self.history.open for p in (f.place, *f.also) if p is not None}
        return place in named or aircraft.mirror(place, {place, *named}) is not None

    def since(self, finding: Finding) -> int | None:
        """No. of the flight that a finding began with."""
        return None if finding.since_flight is None else self.number.get(finding.since_flight)

    def flight_words(self, flight: str) -> str:
        """A flight in words: "No. 5 of 13, 11 April 2026 (tern-flight-04.csv)"."""
        number = self.number[flight]
        one = self.history.flights[number - 1]
        day = date_words(None if one.start is None else one.start[:10])
        return (
            f"No. {number} of {len(self.history.flights)}{', ' if day else ''}{day} "
            f"({plain(one.file)})"
        )

    @property
    def days(self) -> tuple[str, ...]:
        """The day of each flight in few letters; "" where it has none."""
        return tuple(day_words(f.start) for f in self.history.flights)

    @property
    def packs(self) -> tuple[str, ...]:
        """Packs with a charge, in order."""
        kind = self.history.aircraft.kind
        return tuple(p for p in self.places("used_mah") if kind(p) is PlaceKind.PACK)


def paired(places: Iterable[str], aircraft: Aircraft) -> tuple[str, ...]:
    """The same places with each mirror behind its left side."""
    rest = list(places)
    out: list[str] = []
    for place in rest:
        if place in out:
            continue
        mirror = aircraft.mirror(place, rest)
        pair = [place] if mirror is None else sorted((place, mirror))
        out += pair
    return tuple(out)


def side_by_side(places: Iterable[str], aircraft: Aircraft) -> tuple[list[str], list[str]]:
    """Places that belong beside one another, in pairs (mirrors, packs), and those left over."""
    rest = list(paired(places, aircraft))
    packs = [p for p in rest if aircraft.kind(p) is PlaceKind.PACK]
    mirrored = [p for p in rest if aircraft.mirror(p, rest) is not None]
    pairs = [*(packs if len(packs) % 2 == 0 else []), *mirrored]
    return pairs, [p for p in rest if p not in pairs]


def flights_on_a_charge(capacity_mah: float, reserve_pct: float, most_mah: float) -> int:
    """Whole flights like the thirstiest that fit on a full pack, with the reserve kept."""
    return math.floor(capacity_mah * (1 - reserve_pct / 100) / most_mah)


def finite(value: float | None) -> float | None:
    """The value, or None where it is not finite."""
    return value if value is not None and math.isfinite(value) else None
