"""Records of a power budget: places, leads and parts, plain numbers and words."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.numerics.intervals import Interval
from telemetry.results import PartLoad, WorstCase


@dataclass(frozen=True, slots=True, kw_only=True)
class Thicker:
    """What a thicker wire of the same length would bring.

    Attributes
    ----------
    wire : str
        "AWG 14" or "2.5 mm2".
    mohm : Interval
        Of the lead with it, connectors as they are.
    gain_v : float or None
        Higher voltage at the worst current; None where no current is known.
    grams : float
        More copper.
    """

    wire: str
    mohm: Interval
    gain_v: float | None
    grams: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadBudget:
    """One lead: its resistance and what a thicker wire would bring.

    Attributes
    ----------
    place : str
        The node it feeds, or the pack or supply it leaves.
    wire : str
    length_m : float
        One way.
    expected_mohm : Interval
        From the wire table.
    measured_mohm, excess_mohm : Interval or None
        Measured, and measured minus expected; None where it was not measured (of packs and
        supplies the lead alone never is).
    differs : bool or None
        Whether measured and expected surely differ.
    worst_drop_v : float or None
        Drop at the worst current, by the measured resistance where there is one.
    thicker : tuple of Thicker
        The next two sizes.
    """

    place: str
    wire: str
    length_m: float
    expected_mohm: Interval
    measured_mohm: Interval | None
    excess_mohm: Interval | None
    differs: bool | None
    worst_drop_v: float | None
    thicker: tuple[Thicker, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceBudget:
    """Predicted against measured voltage at a place.

    Attributes
    ----------
    place : str
    predicted_v : Interval or None
        At the mean load before landing: what the feeding place measured, less the expected
        resistance times the place's current. Of a design: with all servos moving, the packs at
        nominal voltage; its interval goes from packs at their floor to full ones, as do those of
        its cases.
    measured_v : Interval or None
        What was read there over the same stretch.
    differs : bool or None
        Whether the two surely differ, by more than two sensors may.
    lowest_v : float or None
    restart_v : float
    comfort_v : float or None
        Lowest comfortable supply; None where it is not known.
    cases : tuple of WorstCase
    """

    place: str
    predicted_v: Interval | None
    measured_v: Interval | None
    differs: bool | None
    lowest_v: float | None
    restart_v: float
    comfort_v: float | None
    cases: tuple[WorstCase, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """The whole budget; plain records of numbers and words, ready for JSON.

    Attributes
    ----------
    aircraft : str
    basis : str
        "measured", or "design" where it rests on the profile alone.
    places : tuple of PlaceBudget
    leads : tuple of LeadBudget
    parts : tuple of PartLoad
    """

    aircraft: str
    basis: str
    places: tuple[PlaceBudget, ...]
    leads: tuple[LeadBudget, ...]
    parts: tuple[PartLoad, ...]
