"""Frozen records of everything the review finds; quantities are None where not measured.

Times are seconds from the first row of the log. Voltages V, currents A, charge mAh, resistances
mOhm. Nothing here computes: detectors and estimators fill the records, reports print them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

    from telemetry.aircraft import Aircraft, Limits
    from telemetry.log import Log


class Level(StrEnum):
    """How grave a finding is: ground > watch > unknown > clear."""

    CLEAR = "clear"
    UNKNOWN = "unknown"
    WATCH = "watch"
    GROUND = "ground"

    @property
    def rank(self) -> int:
        """0 for clear to 3 for ground."""
        return list(Level).index(self)

    # All four, because a str brings its own: max() of levels would go by the alphabet.
    def __lt__(self, other: str) -> bool:
        return self.rank < Level(other).rank

    def __le__(self, other: str) -> bool:
        return self.rank <= Level(other).rank

    def __gt__(self, other: str) -> bool:
        return self.rank > Level(other).rank

    def __ge__(self, other: str) -> bool:
        return self.rank >= Level(other).rank


class EventKind(StrEnum):
    """What kind of event a record describes."""

    SAG = "sag"
    SHIFT = "shift"
    UNDERVOLTAGE = "undervoltage"
    SPIKE = "spike"
    BROWNOUT = "brownout"


class PhaseKind(StrEnum):
    """What the aircraft was doing."""

    GROUND = "ground"
    STIR = "stir"
    FLIGHT = "flight"
    REDUNDANCY_CHECK = "redundancy-check"


class Origin(StrEnum):
    """The likely origin of a voltage event."""

    LOAD = "load"
    CONTACT = "contact"
    SUPPLY = "supply"
    PACK = "pack"
    SENSOR = "sensor"
    UNKNOWN = "unknown"


class OutKind(StrEnum):
    """Why a pack may have given nothing for a while."""

    CHECK = "check"  # on the ground before flight, short, and back: a deliberate redundancy check
    SWITCHED_OFF = "switched-off"  # on the ground, not back again: one pack off before the other
    LOST = "lost"  # under way, or on the ground without a plain reason


class Evidence(StrEnum):
    """Whether an event happened in the aircraft or only in its telemetry."""

    REAL = "real"
    TELEMETRY = "telemetry"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of time, half open: start_s <= t < end_s."""

    start_s: float
    end_s: float

    @property
    def duration_s(self) -> float:
        """Length in s."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase(Span):
    """One phase of a recording."""

    kind: PhaseKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropout(Span):
    """Telemetry of a place (or of all, place None) froze or went blank for a while."""

    place: str | None
    kind: str  # "frozen" or "blank"


@dataclass(frozen=True, slots=True, kw_only=True)
class Restart:
    """A counter that fell, or a clock that began again: a unit started anew or was reset."""

    time_s: float
    place: str | None
    column: str
    before: float
    after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Spurious:
    """A single impossible reading, set aside before anything else was judged."""

    time_s: float
    place: str
    column: str
    value: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnUse:
    """One column of the file: how it was read, how often it brings news, whether it was used."""

    column: str
    key: str
    quantity: str
    place: str | None
    label: str
    unit: str
    reason: str
    update_s: float | None
    resolution: float | None
    used: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """What the log can and cannot show.

    Attributes
    ----------
    row_s : float or None
        Median row step, s.
    shortest_sure_dip_s : float or None
        The shortest voltage dip that the log is sure to show: the longest usual update interval
        of the voltage channels.
    balance_a, balance_spread_a : float or None
        Total current minus the sum of the nodes, A: median and scaled MAD; None where the log
        has no total or no node currents.
    """

    row_s: float | None
    shortest_sure_dip_s: float | None
    gaps: tuple[Span, ...] = ()
    restarts: tuple[Restart, ...] = ()
    dropouts: tuple[Dropout, ...] = ()
    spurious: tuple[Spurious, ...] = ()
    balance_a: float | None = None
    balance_spread_a: float | None = None
    notes: tuple[str, ...] = ()


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Resistance:
    """A measured resistance with its 95 % interval, or the reason why there is none.

    Attributes
    ----------
    kind : str
        "source" (pack or bus against its current), "branch" (parent minus place against the
        place's own current) or "apparent" (against another place's current).
    mohm, low_mohm, high_mohm : float or None
        None where it was refused; ``refused`` then says why.
    updates : int
        Number of independent updates behind it.
    scale_s : float or None
        Time scale at which it was measured: the voltage's answer this long after a current step.
    offset_v : float or None
        For branches: voltage difference at zero current.
    expected_mohm, expected_low_mohm, expected_high_mohm : float or None
        From the wire table, where the profile knows the lead; all that a sound one may have.
    method : str
    """

    kind: str
    place: str
    mohm: float | None
    low_mohm: float | None
    high_mohm: float | None
    updates: int
    parent: str | None = None
    scale_s: float | None = None
    offset_v: float | None = None
    offset_low_v: float | None = None
    offset_high_v: float | None = None
    expected_mohm: float | None = None
    expected_low_mohm: float | None = None
    expected_high_mohm: float | None = None
    method: str = ""
    refused: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """Charge drawn at a place."""

    place: str
    logged_mah: float | None
    integrated_mah: float | None
    share: float | None
    start_v: float | None
    end_v: float | None
    uncertain_mah: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackOut(Span):
    """A stretch in which a pack that shares the load gave nothing.

    Attributes
    ----------
    place : str
    kind : OutKind
    back : bool
        Whether it gave current again.
    share_before : float
        Its usual share at such a load, 0 to 1.
    carried_a : float
        Highest current that the others carried meanwhile.
    bus_v : float or None
        Lowest voltage of the bus (or of the first place that is no pack) meanwhile.
    own_v : float or None
        Median of the pack's own voltage meanwhile; near zero: it is gone, else it is only not
        connected or held off by a higher one.
    """

    place: str
    kind: OutKind
    back: bool
    share_before: float
    carried_a: float
    bus_v: float | None
    own_v: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PathStep:
    """A step of the resistance between a pack and what it feeds, within one flight.

    Attributes
    ----------
    place, parent : str
        The pack, and the place whose voltage its own was held against.
    time_s : float
    before_mohm : float
        Resistance before it.
    rise_mohm, low_rise_mohm, high_rise_mohm : float
        By how much it rose (fell, where negative), with its 95 % interval.
    """

    place: str
    parent: str
    time_s: float
    before_mohm: float
    rise_mohm: float
    low_rise_mohm: float
    high_rise_mohm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PackState:
    """One pack in one flight: its share of the load, its charge, and what is left of it.

    Intervals are 95 %.

    Attributes
    ----------
    place, role : str
    label : str or None
        Which physical pack was fitted, where the profile tells.
    rest_v, landing_rest_v : float or None
        At rest near the start and near the end.
    share, low_share, high_share : float or None
        Of the charge drawn under load while no pack was out, 0 to 1.
    change_share, low_change_share, high_change_share : float or None
        Of a change of the total current: what the resistances of the packs' paths make it,
        whatever their charge.
    off_balance : bool
        Whether a shared pack of a pair surely gives more or less than the limits allow.
    loaded_v : float or None
        Median voltage under load while no pack was out.
    counter_start_mah : float or None
        First reading of its counter of charge.
    drawn_mah, low_drawn_mah, high_drawn_mah : float or None
        Drawn in this flight.
    start_pct, low_start_pct, high_start_pct : float or None
    landing_pct, low_landing_pct, high_landing_pct : float or None
        Charge, % of capacity.
    basis : str
        What the charge rests on: "records", "rest voltage", "full" (taken as full before this
        recording; what is left is then no more than that) or "".
    flights_left, cautious_left : int or None
        Further flights with the reserve kept: like this one, and at the highest that so many may
        take together.
    """

    place: str
    role: str
    label: str | None = None
    rest_v: float | None = None
    landing_rest_v: float | None = None
    share: float | None = None
    low_share: float | None = None
    high_share: float | None = None
    change_share: float | None = None
    low_change_share: float | None = None
    high_change_share: float | None = None
    off_balance: bool = False
    loaded_v: float | None = None
    counter_start_mah: float | None = None
    drawn_mah: float | None = None
    low_drawn_mah: float | None = None
    high_drawn_mah: float | None = None
    start_pct: float | None = None
    low_start_pct: float | None = None
    high_start_pct: float | None = None
    landing_pct: float | None = None
    low_landing_pct: float | None = None
    high_landing_pct: float | None = None
    basis: str = ""
    flights_left: int | None = None
    cautious_left: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceLoad:
    """What a place carried under load, in flight and stirs.

    Attributes
    ----------
    place : str
    usual_a : float or None
        Highest mean current over a minute.
    peak_a : float or None
        Highest current.
    landing_a, landing_v : float or None
        Mean current and voltage just before landing.
    """

    place: str
    usual_a: float | None
    peak_a: float | None
    landing_a: float | None
    landing_v: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLoad:
    """One wire, connector or supply: its current against its limit.

    Attributes
    ----------
    place : str
        The node that a lead feeds, or the pack or supply that it leaves.
    part : str
        "wire", "connector 1", "switch", "diode" or "regulator".
    what : str
    usual_a : float or None
        Highest mean current over a minute; the continuous limit is for this one.
    worst_a, worst_case : float or None, str
        Highest current of the cases, and which case it is.
    limit_a : float or None
        None where neither profile nor default gives one.
    limit_from : str
        "profile", "default" or "".
    over : bool or None
        Whether the usual current is above the limit.
    worst_over : bool or None
        Whether the worst one is, which a continuous limit allows for a moment.
    """

    place: str
    part: str
    what: str
    usual_a: float | None
    worst_a: float | None
    worst_case: str
    limit_a: float | None
    limit_from: str
    over: bool | None
    worst_over: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstCase:
    """Voltage expected at a place in one worst case, with its interval.

    ``note`` says what it rests on besides measurements, or why there is no voltage.
    """

    case: str
    current_a: float | None
    voltage_v: float | None
    low_v: float | None
    high_v: float | None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """How far a place stayed above the level at which its electronics restart."""

    place: str
    lowest_v: float | None
    restart_v: float
    observed_v: float | None
    cases: tuple[WorstCase, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ServoShare:
    """What a servo (or a group that moves together) draws, from control columns."""

    place: str
    outputs: tuple[str, ...]
    drives: str | None
    travel_a_per_pct_s: float | None
    hold_a_per_pct: float | None
    low: float | None
    high: float | None
    condition_index: float
    separable: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """By how much something changed across flights.

    Attributes
    ----------
    quantity, unit : str
        What changed, and the unit of ``before`` and ``now``.
    before, now : float or None
        Usual level before it began, and level now.
    rise, low, high : float
        By how much, in ``rise_unit``, with its 95 % interval.
    rise_unit : str
    limit : float or None
        The next limit, in ``rise_unit``.
    per_flight, per_flight_low, per_flight_high : float or None
        Rate, in ``rise_unit`` a flight, by the Theil-Sen slope since it began.
    flights_to_limit : int or None
        Flights until the next limit at this rate; None where it does not grow towards it.
    false_alarm : float
        Chance of such a finding in a healthy season of 20 flights, all places together.
    """

    quantity: str
    unit: str
    before: float | None
    now: float | None
    rise: float
    low: float
    high: float
    rise_unit: str
    limit: float | None = None
    per_flight: float | None = None
    per_flight_low: float | None = None
    per_flight_high: float | None = None
    flights_to_limit: int | None = None
    false_alarm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing worth telling, with its evidence and what would tell its causes apart."""

    code: str
    level: Level
    place: str | None
    title: str
    evidence: dict[str, float | int | str | None] = field(default_factory=dict)
    explanations: tuple[str, ...] = ()
    confirm: str = ""
    advice: str = ""
    servo: str | None = None
    flight: int | None = None
    start_s: float | None = None
    end_s: float | None = None
    # Across flights only: id of the first flight with it, and by how much.
    since_flight: str | None = None
    change: Change | None = None


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


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryFlight:
    """One flight of a history; ``start`` is ISO 8601 or None, ``order`` says what orders it."""

    id: str
    start: str | None
    file: str
    kind: str = "flight"
    order: str = ""
    duration_s: float | None = None
    flight_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteMark:
    """A maintenance note among the flights: ``before`` is the index of the next flight."""

    kind: str
    place: str | None
    text: str
    date: str
    before: int

    @property
    def restarts(self) -> bool:
        """True for repaired and changed: the baseline of that place starts anew."""
        return self.kind in ("repaired", "changed")

    def concerns(self, place: str, aircraft: Aircraft) -> bool:
        """Whether it is about a place: by its name, a servo or surface on it, or the whole."""
        if self.place is None or self.place == place or self.place.startswith(f"{place} "):
            return True
        return any(s.drives == self.place for s in aircraft.servos_at(place))


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """One feature of one place in one flight, with its 95 % interval where there is one."""

    flight: str
    place: str
    feature: str
    value: float | None
    unit: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """What was judged at one place, flight by flight: for the figures and for those who doubt.

    Attributes
    ----------
    code, place : str
        The finding it can raise, and where.
    quantity, unit : str
        What is shown: the rise over the baseline.
    flights : tuple of int
        Indices of the flights since the baseline began that could be judged.
    value, reach : tuple of float
        Rise over the baseline, and half width of its 95 % interval, flight by flight.
    baseline : tuple of int
        Indices of the flights that the baseline was learnt from.
    watch, ground : float or None
        Limits, in the unit of the rise.
    score, chart, limit : tuple of float, tuple of float, float
        Normal score of each flight, the CUSUM of the scores, and the CUSUM's limit.
    ewma, ewma_reach : tuple of float
        The same scores as an EWMA, and its limits.
    since : int or None
        Index of the flight in which a lasting change began; None where none is established.
    """

    code: str
    place: str
    quantity: str
    unit: str
    flights: tuple[int, ...]
    value: tuple[float, ...]
    reach: tuple[float, ...]
    baseline: tuple[int, ...]
    score: tuple[float, ...]
    chart: tuple[float, ...]
    limit: float
    ewma: tuple[float, ...] = ()
    ewma_reach: tuple[float, ...] = ()
    watch: float | None = None
    ground: float | None = None
    since: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What all flights of one aircraft together tell.

    ``features`` holds every measured feature; ``trends`` what was judged; ``not_judged`` names
    what could not be, and why.
    """

    name: str
    aircraft: Aircraft
    flights: tuple[HistoryFlight, ...]
    notes: tuple[NoteMark, ...]
    features: tuple[Feature, ...]
    trends: tuple[Trend, ...]
    findings: tuple[Finding, ...]
    not_judged: tuple[str, ...] = ()

    @property
    def verdict(self) -> Level:
        """The gravest level among the findings; unknown where nothing could be judged."""
        nothing = Level.CLEAR if self.trends else Level.UNKNOWN
        return max((f.level for f in self.findings), default=nothing)

    def series(self, place: str, feature: str) -> tuple[float | None, ...]:
        """One feature of one place, flight by flight; None where it was not measured."""
        found = {
            f.flight: f.value for f in self.features if (f.place, f.feature) == (place, feature)
        }
        return tuple(found.get(flight.id) for flight in self.flights)


def as_dict(record: Any) -> dict[str, Any]:
    """One level of a record as a dict: field name to value."""
    return {f.name: getattr(record, f.name) for f in fields(record)}


def _by_flight(kind: type, groups: Sequence[Iterable[Any]]) -> pd.DataFrame:
    rows = [{"flight": n, **as_dict(r)} for n, group in enumerate(groups, 1) for r in group]
    return _table(rows, ["flight", *(f.name for f in fields(kind))])


def _table(rows: list[dict[str, Any]], names: list[str]) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(rows, columns=pd.Index(names))
