"""The pilot: style, the day's mood, and the plan of a recording.

A recording is a plan of segments (rest, stir, control check, engine, flight, redundancy check,
power off). Each pilot has a style, each day its mood: vigour and rhythm of the stir, hardness of
the flying, gusts.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.random import Generator


class SegmentKind(StrEnum):
    """What happens in one segment of a recording."""

    REST = "rest"
    STIR = "stir"
    CHECK = "check"  # one control after the other to both ends
    ENGINE = "engine"  # engine run and taxi
    FLIGHT = "flight"
    PACK_OFF = "pack-off"  # redundancy check: one pack switched off, then on
    POWER_OFF = "power-off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """One stretch of a plan.

    ``pack`` names the pack of a redundancy check, ``axes`` the controls of a control check.
    """

    kind: SegmentKind
    seconds: float
    pack: str = ""
    axes: tuple[str, ...] = ("aileron", "elevator", "rudder")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pilot:
    """A pilot's style.

    Attributes
    ----------
    stir_hz, stir_pct, stir_s : float
        Usual rhythm, travel and length of the stir.
    vigour_spread, rhythm_spread : float
        How far travel and rhythm vary from day to day, relative standard deviation.
    hardness : float
        How far figures are flown out, about 0.5 to 1.5.
    hardness_spread : float
        From day to day, relative standard deviation.
    correction_pct, correction_hz : float
        Small corrections in the air.
    """

    stir_hz: float = 1.3
    stir_pct: float = 92.0
    stir_s: float = 12.0
    vigour_spread: float = 0.10
    rhythm_spread: float = 0.18
    hardness: float = 1.0
    hardness_spread: float = 0.15
    correction_pct: float = 6.0
    correction_hz: float = 1.6

    def day(self, rng: Generator, *, gusts: float | None = None) -> Day:
        """One day's mood."""
        vary = rng.standard_normal(3)
        return Day(
            vigour=float(np.exp(self.vigour_spread * vary[0])),
            rhythm=float(np.exp(self.rhythm_spread * vary[1])),
            hardness=float(np.exp(self.hardness_spread * vary[2])),
            gusts=float(0.6 + 0.8 * rng.random()) if gusts is None else gusts,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """Factors on a pilot's usual vigour, rhythm, hardness and corrections."""

    vigour: float = 1.0
    rhythm: float = 1.0
    hardness: float = 1.0
    gusts: float = 1.0


def usual_plan(
    rng: Generator,
    pilot: Pilot,
    *,
    flight_s: float = 480.0,
    flights: int = 1,
    stirs: int = 1,
    stir_after: bool = False,
    check: bool = True,
    check_packs: tuple[str, ...] = (),
    power_cycle: bool = False,
) -> tuple[Segment, ...]:
    """A flying day's recording: rest, checks, stirs, engine run, flight, rest.

    Parameters
    ----------
    flight_s : float
        Length of each flight, s.
    flights : int
        Flights in this recording; 0 gives a bench recording.
    stirs : int
        Stirs before each take-off.
    stir_after : bool
        One more after each landing.
    check : bool
        A control check before the first take-off, one control after the other.
    check_packs : tuple of str
        Packs that are switched off and on, one after the other, before the first take-off.
    power_cycle : bool
        All switched off and on on the ground: between flights, else near the start.
    """

    def between(low: float, high: float) -> float:
        return float(low + (high - low) * rng.random())

    def segment(kind: SegmentKind, low: float, high: float, pack: str = "") -> Segment:
        return Segment(kind=kind, seconds=between(low, high), pack=pack)

    cycle = [segment(SegmentKind.POWER_OFF, 4, 15), segment(SegmentKind.REST, 6, 15)]
    plan = [segment(SegmentKind.REST, 12, 30)]
    if power_cycle and flights < 2:
        plan += cycle
    if check:
        plan += [segment(SegmentKind.CHECK, 11, 17), segment(SegmentKind.REST, 4, 10)]
    for pack in check_packs:
        plan += [segment(SegmentKind.PACK_OFF, 4, 9, pack), segment(SegmentKind.REST, 4, 8)]
    for number in range(max(flights, 1)):
        if power_cycle and number > 0:
            plan += cycle
        for _ in range(stirs):
            seconds = pilot.stir_s * between(0.7, 1.4)
            plan += [
                Segment(kind=SegmentKind.STIR, seconds=seconds),
                segment(SegmentKind.REST, 6, 16),
            ]
        if flights > 0:
            plan += [
                segment(SegmentKind.ENGINE, 18, 45),
                segment(SegmentKind.FLIGHT, 0.9 * flight_s, 1.1 * flight_s),
                segment(SegmentKind.ENGINE, 8, 20),
                segment(SegmentKind.REST, 10, 25),
            ]
            if stir_after:
                seconds = pilot.stir_s * between(0.6, 1.1)
                plan += [
                    Segment(kind=SegmentKind.STIR, seconds=seconds),
                    segment(SegmentKind.REST, 6, 12),
                ]
    return tuple(plan)
