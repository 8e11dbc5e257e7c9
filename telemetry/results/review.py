"""Everything the review of one log found, and its tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from telemetry.results.events import Event, Stir, StirPlace
from telemetry.results.findings import Finding
from telemetry.results.kinds import Level
from telemetry.results.measures import (
    LowSupply,
    Margin,
    PartLoad,
    PlaceLoad,
    Resistance,
    ServoShare,
)
from telemetry.results.packs import Charge, PackOut, PackState, PathStep
from telemetry.results.recording import ColumnUse, Phase, Quality, Span

if TYPE_CHECKING:
    import pandas as pd

    from telemetry.aircraft import Aircraft, Limits
    from telemetry.log import Log


@dataclass(frozen=True, slots=True, kw_only=True)
class Flight(Span):
    """One flight with the ground time around it, or one bench recording."""

    kind: str  # "flight" or "bench"
    phases: tuple[Phase, ...]
    stirs: tuple[Stir, ...] = ()
    events: tuple[Event, ...] = ()
    resistances: tuple[Resistance, ...] = ()
    charge: tuple[Charge, ...] = ()
    margins: tuple[Margin, ...] = ()
    low: tuple[LowSupply, ...] = ()
    servos: tuple[ServoShare, ...] = ()
    packs: tuple[PackState, ...] = ()
    pack_outs: tuple[PackOut, ...] = ()
    path_steps: tuple[PathStep, ...] = ()
    loads: tuple[PlaceLoad, ...] = ()
    parts: tuple[PartLoad, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One feature of a flight and its usual range among the earlier flights of the aircraft.

    Attributes
    ----------
    flight : int
        Which flight of the review, from 1.
    place, feature, unit, name : str
        ``name`` is the feature in words.
    digits : int
        Decimals worth showing.
    value : float
    usual_low, usual_high : float
        10th and 90th percentile of the earlier flights.
    flights : int
        How many earlier flights had it.
    outside : bool
        Outside everything that the earlier flights showed.
    """

    flight: int
    place: str
    feature: str
    name: str
    unit: str
    digits: int
    value: float
    usual_low: float
    usual_high: float
    flights: int
    outside: bool

    @property
    def sentence(self) -> str:
        """In words: left wing stir mean 2.9 A, usual 2.1 to 2.4 A over 14 flights."""
        digits, unit = self.digits, f" {self.unit}" if self.unit else ""
        return (
            f"{self.place} {self.name} {self.value:.{digits}f}{unit}, usual "
            f"{self.usual_low:.{digits}f} to {self.usual_high:.{digits}f}{unit} "
            f"over {self.flights} flights"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """Everything the review of one log found.

    ``compared`` sets it beside earlier flights, where the logbook knows the aircraft.
    """

    log: Log
    aircraft: Aircraft
    limits: Limits
    columns: tuple[ColumnUse, ...]
    quality: Quality
    flights: tuple[Flight, ...]
    findings: tuple[Finding, ...]
    compared: tuple[Comparison, ...] = ()

    @property
    def verdict(self) -> Level:
        """The gravest level among the findings; clear where nothing was found in this log."""
        return max((f.level for f in self.findings), default=Level.CLEAR)

    @property
    def events(self) -> pd.DataFrame:
        """All events as a table, one row each; column ``flight`` counts from 1."""
        return _by_flight(Event, [f.events for f in self.flights])

    @property
    def stirs(self) -> pd.DataFrame:
        """All stir measures as a table, one row per stir and place."""
        rows = [
            {
                "flight": n,
                "start_s": stir.start_s,
                "end_s": stir.end_s,
                "rhythm_hz": stir.rhythm_hz,
                "after_flight": stir.after_flight,
                **as_dict(p),
            }
            for n, flight in enumerate(self.flights, 1)
            for stir in flight.stirs
            for p in stir.places
        ]
        names = ["flight", "start_s", "end_s", "rhythm_hz", "after_flight"]
        return _table(rows, [*names, *(f.name for f in fields(StirPlace))])

    @property
    def resistances(self) -> pd.DataFrame:
        """All resistances as a table, one row each."""
        return _by_flight(Resistance, [f.resistances for f in self.flights])


def as_dict(record: Any) -> dict[str, Any]:
    """One level of a record as a dict: field name to value."""
    return {f.name: getattr(record, f.name) for f in fields(record)}


def _by_flight(kind: type, groups: Sequence[Iterable[Any]]) -> pd.DataFrame:
    rows = [{"flight": n, **as_dict(r)} for n, group in enumerate(groups, 1) for r in group]
    return _table(rows, ["flight", *(f.name for f in fields(kind))])


def _table(rows: list[dict[str, Any]], names: list[str]) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(rows, columns=pd.Index(names))
