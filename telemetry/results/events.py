"""Stirs and events at a place: falls of voltage, spikes, currents unlike their counterpart's."""

from __future__ import annotations

from dataclasses import dataclass, field

from telemetry.results.kinds import EventKind, Evidence, Origin, PhaseKind, UnusualKind
from telemetry.results.recording import Span
from telemetry.results.tables import INNER


@dataclass(frozen=True, slots=True, kw_only=True)
class StirPlace:
    """What one place drew, and how low it went, during a stir.

    ``rest_a`` is the current before the stir, ``after_a`` the one some seconds after it.
    """

    place: str
    rest_a: float | None
    mean_a: float | None
    p95_a: float | None
    peak_a: float | None
    mah: float | None
    lowest_v: float | None
    sag_mohm: float | None
    after_a: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stir(Span):
    """Control movement on the ground: the aircraft's standard load test."""

    rhythm_hz: float | None
    after_flight: bool
    places: tuple[StirPlace, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Event(Span):
    """One event at one place.

    Attributes
    ----------
    truncated : bool
        True where the log or a gap cut the event off: its duration is a lower bound.
    reference_v, residual_v, depth_v, deficit_vs : float or None
        For voltage events: the voltage it fell from, the lowest reading, their difference, and
        the area below the reference.
    peak_a : float or None
        Highest current during it (of the place, else of the whole).
    explained : float or None
        Share of the depth that the load explains, 0 to 1; None where no resistance is known.
    explained_by : str or None
        By which resistance.
    prominence_a, charge_mah, burst : float or int or None
        For spikes: height above the baseline, charge above it, number of the burst.
    note : str
        One sentence more where it helps.
    together : bool
        True where the other places on its feed fell with it: what they have in common is at fault.
    unloaded : bool
        True of a bus whose packs are not logged, where the load surely does not make the fall: then
        its supply does, by the path or the packs.
    """

    kind: EventKind
    place: str
    truncated: bool = False
    reference_v: float | None = None
    residual_v: float | None = None
    depth_v: float | None = None
    deficit_vs: float | None = None
    peak_a: float | None = None
    phase: PhaseKind = PhaseKind.GROUND
    explained: float | None = None
    explained_by: str | None = None
    origin: Origin = Origin.UNKNOWN
    evidence: Evidence = Evidence.UNKNOWN
    prominence_a: float | None = None
    charge_mah: float | None = None
    burst: int | None = None
    updates: int | None = None
    note: str = ""
    together: bool = field(default=False, metadata=INNER)
    slow: bool = field(default=False, metadata=INNER)
    unloaded: bool = field(default=False, metadata=INNER)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnusualCurrent:
    """The current of a node that is not its counterpart's, or not what it was.

    Attributes
    ----------
    kind : UnusualKind
    place : str
    start_s, end_s : float, float or None
        From when to when; None to the end of the flight.
    against : str
        What it was compared with.
    before, now : float or None
        What it should draw, and what it draws, A; of a share (silent, heats, more, less) that of
        the counterpart's current before and after, 1 for equal; of what hunts on the ground the
        usual jump from reading to reading elsewhere, and here.
    error : float or None
        Standard error of the difference, A; of a share relative.
    seconds : float or None
        How long it lasted in flight.
    rest_before, rest_after, rest_mirror : float or None
        Current at rest on the ground before take-off, after landing, and the mirror's before, A.
    controls : tuple of (str, float)
        Whose servos may have changed, the likeliest first, with probabilities.
    either : bool
        Of a multiple: whether the currents at rest leave open which of the two changed.
    steady : bool
        Of a high rest: whether it flows all the time, the same at rest and in flight, as a load by
        design would.
    """

    kind: UnusualKind
    place: str
    start_s: float
    end_s: float | None
    against: str
    before: float | None = None
    now: float | None = None
    error: float | None = None
    seconds: float | None = None
    rest_before: float | None = None
    rest_after: float | None = None
    rest_mirror: float | None = None
    controls: tuple[tuple[str, float], ...] = ()
    either: bool = False
    steady: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchedCurrent:
    """A node whose current was compared in flight.

    Attributes
    ----------
    place, against : str
        ``against`` is "" where it has no counterpart.
    least_a : float
        What half a minute of more would have shown, A.
    update_s, seconds : float
        From reading to reading, and how much of the flight was compared, s.
    """

    place: str
    against: str
    least_a: float
    update_s: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenCurrent(Span):
    """A current whose reading stood still while it flowed on, or while all others moved.

    ``value_a`` is what it stood at: it tells nothing of its servos.
    """

    place: str
    value_a: float
