"""Stirs and events at a place: sags, shifts, undervoltage, spikes, brownouts."""

from __future__ import annotations

from dataclasses import dataclass, field

from telemetry.results.kinds import EventKind, Evidence, Origin, PhaseKind
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
