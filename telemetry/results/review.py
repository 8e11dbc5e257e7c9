"""Everything the review of one log found, and its tables."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

from telemetry.model.brief import Facts, as_html, as_text, some
from telemetry.results.answer import Answer
from telemetry.results.checks import CheckOutcome
from telemetry.results.events import (
    Event,
    FrozenCurrent,
    Stir,
    StirPlace,
    UnusualCurrent,
    WatchedCurrent,
)
from telemetry.results.findings import Finding, counted_by_level, verdict_in_brief, worst_of
from telemetry.results.kinds import Level
from telemetry.results.measures import (
    DropRatio,
    LeadChange,
    LowSupply,
    Margin,
    PartLoad,
    PlaceLoad,
    Resistance,
    ServoShare,
    SupplyLevel,
    WorstCase,
)
from telemetry.results.packs import (
    Charge,
    Droop,
    Knee,
    LoadDrop,
    PackCapacity,
    PackOut,
    PackState,
    PackTwins,
    PathStep,
)
from telemetry.results.recording import ColumnUse, Mark, Phase, Quality, Span
from telemetry.results.tables import INNER, Tables, lists_of, shown_fields, table

if TYPE_CHECKING:
    import pandas as pd

    from telemetry.aircraft import Aircraft, Limits
    from telemetry.model.log import Log
    from telemetry.results.readings import Readings


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
    levels: tuple[SupplyLevel, ...] = field(default=(), metadata=INNER)
    unusual: tuple[UnusualCurrent, ...] = field(default=(), metadata=INNER)
    watched: tuple[WatchedCurrent, ...] = field(default=(), metadata=INNER)
    frozen: tuple[FrozenCurrent, ...] = field(default=(), metadata=INNER)
    lead_changes: tuple[LeadChange, ...] = field(default=(), metadata=INNER)
    drop_ratios: tuple[DropRatio, ...] = field(default=(), metadata=INNER)
    drops: tuple[LoadDrop, ...] = field(default=(), metadata=INNER)
    capacities: tuple[PackCapacity, ...] = field(default=(), metadata=INNER)
    twins: tuple[PackTwins, ...] = field(default=(), metadata=INNER)
    knees: tuple[Knee, ...] = field(default=(), metadata=INNER)
    droops: tuple[Droop, ...] = field(default=(), metadata=INNER)


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
    left_out : int
        How many more had it, and an open finding there: they tell nothing of what is usual.
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
    left_out: int = 0

    @property
    def sentence(self) -> str:
        """In words: left wing stir mean 2.9 A, usual 2.1 to 2.4 A over 14 flights."""
        digits, unit = self.digits, f" {self.unit}" if self.unit else ""
        return (
            f"{self.place} {self.name} {self.value:.{digits}f}{unit}, usual "
            f"{self.usual_low:.{digits}f} to {self.usual_high:.{digits}f}{unit} "
            f"over {self.flights} flights{self._without}"
        )

    @property
    def _without(self) -> str:
        if not self.left_out:
            return ""
        many = "one" if self.left_out == 1 else str(self.left_out)
        return f", without {many} of an open finding there"


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """Everything the review of one log found.

    ``checks`` holds what each check came to, place by place; ``findings`` what was found.
    ``compared`` sets it beside earlier flights, ``aircraft_answer`` is how the aircraft stands with
    this log and ``aircraft_open`` what is open there, ``marks`` the moments that somebody marked,
    where the logbook knows it. ``readings``
    are those of the log by these limits, taken once: all numbers rest on them, and so do reports
    and features. They belong to log and limits, and are no result: two reviews are equal, or shown,
    without them.
    """

    log: Log
    readings: Readings = field(repr=False, compare=False)
    aircraft: Aircraft
    limits: Limits
    columns: tuple[ColumnUse, ...]
    quality: Quality
    flights: tuple[Flight, ...]
    findings: tuple[Finding, ...]
    checks: tuple[CheckOutcome, ...] = ()
    compared: tuple[Comparison, ...] = ()
    aircraft_answer: Answer | None = None
    aircraft_open: tuple[Finding, ...] = ()
    marks: tuple[Mark, ...] = ()

    @property
    def verdict(self) -> Level:
        """The worst level found; unknown where an essential check could not judge; else clear.

        It is this log's alone; see :attr:`answer`.
        """
        return max((f.level for f in self.findings), default=Level.CLEAR)

    @property
    def answer(self) -> Answer:
        """How the aircraft stands where the logbook knows it; else what this log alone says."""
        if self.aircraft_answer is not None:
            return self.aircraft_answer
        worst = worst_of(self.findings)
        return Answer(
            level=self.verdict,
            title="nothing was found in this log" if worst is None else worst.title,
            source="review",
        )

    @property
    def tables(self) -> Tables:
        """Every list of records as a DataFrame, by name: ``review.tables["margins"]``.

        findings; flights; of each flight phases, stirs (a row for each stir and place), events,
        resistances, charge, margins, cases (the worst cases of the margins), and every other list
        of :class:`Flight`, with the column ``flight``, from 1; checks; compared; marks; columns (of
        the file); gaps, restarts, dropouts, spurious (of the recording). Times are s from the first
        row, units stand in the names; see :class:`telemetry.results.Tables`.
        """
        return Tables(_makers(self))

    @property
    def events(self) -> pd.DataFrame:
        """All events, one row each; column ``flight`` counts from 1. As ``tables["events"]``."""
        return self.tables["events"]

    @property
    def stirs(self) -> pd.DataFrame:
        """All stir measures, one row for each stir and place. As ``tables["stirs"]``."""
        return self.tables["stirs"]

    @property
    def resistances(self) -> pd.DataFrame:
        """All resistances, one row each. As ``tables["resistances"]``."""
        return self.tables["resistances"]

    def __repr__(self) -> str:
        return as_text(f"Review of {self.log.provenance.file}", self._facts())

    def _repr_html_(self) -> str:
        return as_html(f"Review of {self.log.provenance.file}", self._facts())

    def _facts(self) -> Facts:
        held = [f"{f.kind} of {f.duration_s:.0f} s" for f in self.flights]
        return (
            ("recorded", f"{self.log.provenance.start or 'no date'}, {self.log.duration_s:.1f} s"),
            ("aircraft", f"{self.aircraft.name}; {some(held or ['no flight'])}"),
            ("verdict", verdict_in_brief(self.verdict, self.verdict.word, self.findings)),
            ("findings", counted_by_level(self.findings)),
        )


@dataclass(frozen=True, slots=True)
class _Number:
    """Which flight of the review a row is of, from 1."""

    flight: int


def _makers(review: Review) -> Mapping[str, Callable[[], pd.DataFrame]]:
    numbered = [(_Number(n), flight) for n, flight in enumerate(review.flights, 1)]

    def plain(kind: type, records: tuple[Any, ...]) -> pd.DataFrame:
        return table((kind,), ((one,) for one in records))

    def each(name: str) -> Iterator[tuple[_Number, Any]]:
        return ((n, one) for n, flight in numbered for one in getattr(flight, name))

    def of_flights(name: str, kind: type) -> pd.DataFrame:
        return table((_Number, kind), each(name))

    def within(name: str, inner: str) -> Iterator[tuple[_Number, Any, Any]]:
        return ((n, one, part) for n, one in each(name) for part in getattr(one, inner))

    return {
        "findings": partial(plain, Finding, review.findings),
        "flights": lambda: table((_Number, Flight), numbered),
        **{name: partial(of_flights, name, kind) for name, kind in lists_of(Flight).items()},
        "stirs": lambda: table((_Number, Stir, StirPlace), within("stirs", "places")),
        "cases": lambda: table((_Number, Margin, WorstCase), within("margins", "cases")),
        "checks": partial(plain, CheckOutcome, review.checks),
        "compared": partial(plain, Comparison, review.compared),
        "marks": partial(plain, Mark, review.marks),
        "columns": partial(plain, ColumnUse, review.columns),
        **{
            name: partial(plain, kind, getattr(review.quality, name))
            for name, kind in lists_of(Quality).items()
        },
    }


def as_dict(record: Any) -> dict[str, Any]:
    """One level of a record as a dict: name to value of each field that documents show."""
    return {f.name: getattr(record, f.name) for f in shown_fields(record)}
