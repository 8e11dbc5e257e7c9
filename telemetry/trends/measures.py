"""The measures of one flight: what the book keeps of a review, as plain JSON values.

One document a flight. It holds the features that people read (value, unit, interval) and, for the
comparison of places with one another, the mean current of every place in equal stretches of the
stir and of the flight.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.results import Cause, Level

FloatArray = NDArray[np.float64]

#: Version of the document. Measures of another version are made again from the log.
VERSION = "18"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One feature of one place in one flight.

    ``low`` and ``high`` are its 95 % interval; None where there is no honest one. ``value`` is
    None where it could not be measured.
    """

    place: str
    feature: str
    value: float | None
    unit: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Mean current and voltage of each place in equal stretches, at the same times for all.

    Attributes
    ----------
    block_s : float
        Length of one stretch, s.
    amps, volts : dict of str to ndarray, shape (n,)
        NaN where a place has no reading in a stretch.
    """

    block_s: float
    amps: Mapping[str, FloatArray]
    volts: Mapping[str, FloatArray] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupDraw:
    """What the servos on some controls of a place draw, with its 95 % range by chance.

    Attributes
    ----------
    place : str
    controls : tuple of str
        Several where they moved together, or where any of them may have moved.
    outputs : tuple of str
    value, low, high : float
        A per %/s of travel; of a control check A above rest while it moved.
    separable : bool
    basis : str
        "flight" and "ground" by control columns, "check" by a check of one control after the other.
    """

    place: str
    controls: tuple[str, ...]
    outputs: tuple[str, ...]
    value: float
    low: float
    high: float
    separable: bool
    basis: str = "flight"


@dataclass(frozen=True, slots=True, kw_only=True)
class EventCount:
    """How many falls of voltage of one origin a place had under load, and the deepest, V."""

    place: str
    origin: str
    count: int
    deepest_v: float


class ReportedFinding(NamedTuple):
    """What the review of one flight reported, by itself.

    Attributes
    ----------
    code, place : str
        ``place`` is "" for the whole aircraft.
    level : Level
    title, confirm, advice
        In the review's words, which may be of this very case.
    lasts : bool
        True for what no later flight shows gone, only a note of what was done: a pack or a supply
        that was lost, a contact that opened in flight.
    causes, ranked
        As the review ranked them.
    size : float or None
        How bad it is, by the evidence that its check names.
    or_place : str
        The other of two places of which either may be at fault; "" where it is this one.
    """

    code: str
    place: str
    level: Level
    title: str = ""
    lasts: bool = False
    confirm: str = ""
    advice: str = ""
    causes: tuple[Cause, ...] = ()
    ranked: bool = False
    size: float | None = None
    or_place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """The measures of one flight.

    Attributes
    ----------
    kind : str
        "flight" or "bench".
    start : str or None
        ISO 8601 date and time of the log's first row.
    file : str
    duration_s, flight_s : float
        Of the recording and of its time in the air.
    update_s : float or None
        Median update interval of the node currents (else of all currents).
    temperature_c : float or None
        Lowest temperature reported at the start: the nearest thing to that of the air.
    features : tuple of Measure
    stir, air : Blocks or None
        Current in the stirs before the flight, and in the air.
    groups : tuple of GroupDraw
    events : tuple of EventCount
    reported : tuple of ReportedFinding
        What the review found in this flight or in the whole recording.
    judged : dict of str to tuple of str
        Where each check judged, by its code; "" for the whole aircraft. What it did not find there
        was not there at the size that it states.
    steps_a : dict of str to float
        Resolution of each place's current, A.
    servos : dict of str to int
        Servos per place on that day, where the profile tells.
    labels : dict of str to str
        Label of the pack that was fitted, per position.
    packs : str or None
        Label of the packs that the log itself tells.
    """

    kind: str
    start: str | None
    file: str
    duration_s: float
    flight_s: float
    update_s: float | None
    temperature_c: float | None
    features: tuple[Measure, ...]
    stir: Blocks | None = None
    air: Blocks | None = None
    groups: tuple[GroupDraw, ...] = ()
    events: tuple[EventCount, ...] = ()
    reported: tuple[ReportedFinding, ...] = ()
    judged: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    steps_a: Mapping[str, float] = field(default_factory=dict)
    servos: Mapping[str, int] = field(default_factory=dict)
    labels: Mapping[str, str] = field(default_factory=dict)
    packs: str | None = None

    def get(self, place: str, feature: str) -> Measure | None:
        """The measure of that place and feature, if it has a value."""
        for m in self.features:
            if m.place == place and m.feature == feature:
                return m if m.value is not None else None
        return None

    def value(self, place: str, feature: str) -> float | None:
        """Its value alone."""
        found = self.get(place, feature)
        return None if found is None else found.value

    def measured_at(self, place: str) -> bool:
        """Whether anything was measured at a place; True for "", the whole aircraft."""
        return (
            not place
            or any(m.place == place and m.value is not None for m in self.features)
            or any(place in b.amps or place in b.volts for b in (self.stir, self.air) if b)
        )

    def highest_a(self, *places: str) -> float | None:
        """Highest mean current of a stretch of stir or flight at the first place with one, A."""
        for place in places:
            found = [b.amps[place] for b in (self.stir, self.air) if b and place in b.amps]
            known = [float(np.nanmax(x)) for x in found if np.isfinite(x).any()]
            if known:
                return max(known)
        return None

    @property
    def verdict(self) -> Level:
        """Of the review of this flight by itself."""
        return max((s.level for s in self.reported), default=Level.CLEAR)

    @property
    def codes(self) -> tuple[str, ...]:
        """Of the findings that give the verdict."""
        return tuple(dict.fromkeys(s.code for s in self.reported if s.level is self.verdict))

    def document(self) -> dict[str, Any]:
        """As plain values for JSON; None where not measured, never NaN."""
        return {
            "kind": self.kind,
            "start": self.start,
            "file": self.file,
            "duration_s": self.duration_s,
            "flight_s": self.flight_s,
            "update_s": self.update_s,
            "temperature_c": self.temperature_c,
            "features": [
                [m.place, m.feature, _plain(m.value), m.unit, _plain(m.low), _plain(m.high)]
                for m in self.features
            ],
            "stir": _blocks_out(self.stir),
            "air": _blocks_out(self.air),
            "groups": [
                [
                    *(g.place, list(g.controls), list(g.outputs)),
                    *(g.value, g.low, g.high, g.separable, g.basis),
                ]
                for g in self.groups
            ],
            "events": [[e.place, e.origin, e.count, e.deepest_v] for e in self.events],
            "reported": [
                [*s[:2], str(s.level), *s[3:7], [_cause_out(c) for c in s.causes], *s[8:]]
                for s in self.reported
            ],
            "judged": {code: list(places) for code, places in self.judged.items()},
            "steps_a": dict(self.steps_a),
            "servos": dict(self.servos),
            "labels": dict(self.labels),
            "packs": self.packs,
        }

    @classmethod
    def of(cls, doc: Mapping[str, Any]) -> Measures:
        """From plain values, as :meth:`document` gave them.

        Raises
        ------
        KeyError, TypeError, ValueError
            If it is no such document; callers make the measures again from the log.
        """
        return cls(
            kind=str(doc["kind"]),
            start=doc["start"],
            file=str(doc["file"]),
            duration_s=float(doc["duration_s"]),
            flight_s=float(doc["flight_s"]),
            update_s=doc["update_s"],
            temperature_c=doc["temperature_c"],
            features=tuple(
                Measure(place=p, feature=f, value=v, unit=u, low=a, high=b)
                for p, f, v, u, a, b in doc["features"]
            ),
            stir=_blocks_in(doc["stir"]),
            air=_blocks_in(doc["air"]),
            groups=tuple(
                GroupDraw(
                    place=p,
                    controls=tuple(c),
                    outputs=tuple(o),
                    value=v,
                    low=a,
                    high=b,
                    separable=s,
                    basis=k,
                )
                for p, c, o, v, a, b, s, k in doc["groups"]
            ),
            events=tuple(
                EventCount(place=p, origin=o, count=n, deepest_v=d) for p, o, n, d in doc["events"]
            ),
            reported=tuple(
                ReportedFinding(
                    *(code, place, Level(level), title, lasts, confirm, advice),
                    causes=tuple(_cause_in(*c) for c in causes),
                    ranked=ranked,
                    size=size,
                    or_place=or_place,
                )
                for (
                    *(code, place, level, title, lasts, confirm, advice),
                    causes,
                    ranked,
                    size,
                    or_place,
                ) in doc["reported"]
            ),
            judged={code: tuple(places) for code, places in doc["judged"].items()},
            steps_a=dict(doc["steps_a"]),
            servos=dict(doc["servos"]),
            labels=dict(doc["labels"]),
            packs=doc["packs"],
        )


def _plain(x: float | None) -> float | None:
    return None if x is None else float(x)


def _cause_out(cause: Cause) -> list[Any]:
    return [str(cause.kind), cause.cause, list(cause.speaks_for), list(cause.speaks_against)]


def _cause_in(kind: str, words: str, speaks_for: list[str], against: list[str]) -> Cause:
    return Cause(
        kind=kind, cause=words, speaks_for=tuple(speaks_for), speaks_against=tuple(against)
    )


def _blocks_out(blocks: Blocks | None) -> dict[str, Any] | None:
    if blocks is None:
        return None
    return {
        "block_s": blocks.block_s,
        "amps": {place: _short(values) for place, values in blocks.amps.items()},
        "volts": {place: _short(values) for place, values in blocks.volts.items()},
    }


def _short(values: FloatArray) -> list[float | None]:
    """Six digits are finer than any mean of readings; they keep the file short."""
    return [float(f"{x:.6g}") if np.isfinite(x) else None for x in values]


def _blocks_in(doc: Mapping[str, Any] | None) -> Blocks | None:
    if doc is None:
        return None
    amps, volts = (
        {place: np.array(values, dtype=np.float64) for place, values in doc[name].items()}
        for name in ("amps", "volts")
    )
    return Blocks(block_s=float(doc["block_s"]), amps=amps, volts=volts)
