"""What was measured on leads and servos, and how near each place came to its limits."""

from __future__ import annotations

from dataclasses import dataclass, field

from telemetry.results.kinds import Level
from telemetry.results.tables import INNER


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
    left_out : tuple of (float, float)
        Moments, s, at which the voltage fell too far for its current; it was fitted without them.
    regulated : bool or None
        Of a bus, and of its way from a pack: whether a regulator holds its voltage, so that there
        is no resistance to fit; None where that cannot be told.
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
    left_out: tuple[tuple[float, float], ...] = ()
    regulated: bool | None = field(default=None, metadata=INNER)


@dataclass(frozen=True, slots=True, kw_only=True)
class LowSupply:
    """A place that lay below the voltage it needs while it was under load.

    Attributes
    ----------
    place : str
    level_v : float
        Lowest comfortable supply, or the floor under load of a pack.
    is_floor : bool
        Whether the level is the floor of a pack.
    lowest_v, lowest_s : float
        Lowest reading under load, and when.
    loaded_s : float
        Time under load in which it was read.
    below_s, longest_s : float
        Of that the time below the level, in all and at a stretch; 0 where only a minimum-hold
        went below.
    times : int
        Stretches below the level.
    short_v : float
        How far it lay below the level with a supply still there, mean over all ``loaded_s``.
    short_s : float
        Time at or below a few hundredths under the level: plainly, not just, below it.
    deep_v, deep_s, deep_readings : float or int
        What counts as deep, the time at or below it with a supply still there, and how many
        readings show it.
    deepest_s, deepest_readings : float or int
        The same at twice that depth.
    """

    place: str
    level_v: float
    is_floor: bool
    lowest_v: float
    lowest_s: float
    loaded_s: float
    below_s: float
    longest_s: float
    times: int
    short_v: float
    deep_v: float
    deep_s: float
    deep_readings: int
    short_s: float = 0.0
    deepest_s: float = 0.0
    deepest_readings: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyLevel:
    """The voltage that a place should not fall below under load, V; as in :class:`LowSupply`."""

    place: str
    level_v: float
    is_floor: bool


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
        "profile", "default" (of a wire the wire table) or "".
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

    @property
    def usual_ratio(self) -> float:
        """Usual current over the limit; 0 where it is not known."""
        return (self.usual_a or 0.0) / (self.limit_a or 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstCase:
    """Voltage expected at a place in one worst case, with its interval.

    ``note`` says what it rests on besides measurements, or why there is no voltage; ``level`` what
    the voltage calls for by the limits in force (:func:`telemetry.circuit.margins.case_level`).
    """

    case: str
    current_a: float | None
    voltage_v: float | None
    low_v: float | None
    high_v: float | None
    note: str = ""
    level: Level | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """How far a place stayed above the level at which its electronics restart.

    ``comfort_v`` is the lowest comfortable supply of its servos; None where it is not known.
    """

    place: str
    lowest_v: float | None
    restart_v: float
    observed_v: float | None
    cases: tuple[WorstCase, ...] = ()
    comfort_v: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ServoShare:
    """What a servo (or a group that cannot be told apart) draws.

    Attributes
    ----------
    place : str
        Whose current it is part of.
    outputs : tuple of str
        Outputs of the group, where the profile tells.
    drives : str or None
        Controls of the group, joined by " + " where they moved together, by " or " where any of
        them may have moved; None where nothing tells.
    travel_a_per_pct_s, low, high : float or None
        Current for each % of travel a second, with its 95 % range; from control columns only.
    hold_a_per_pct : float or None
        Current for each % of deflection held in the air; from control columns only.
    chance : float or None
        Half width of the range by chance alone, relative: what the rest of the range doubts is
        alike in all flights.
    moving_a, moving_low_a, moving_high_a : float or None
        Mean current above rest while it moved, with its 95 % range; from control checks only.
    resting_a : float or None
        Current above rest between the moves of a check: a surface held off its middle.
    moves : int or None
        Moves seen in the checks.
    condition_index : float
        Of the columns that were told apart; above 30 nothing is named.
    separable : bool
        Whether the group is one servo.
    basis : str
        "control columns" or "control check".
    controls : tuple of str
        Those that ``drives`` joins.
    ground_a_per_pct_s : tuple of (float, float, float) or None
        The current for travel on the ground alone, where no air loads a surface, with its 95 %
        range by chance; from control columns only.
    """

    place: str
    outputs: tuple[str, ...]
    drives: str | None
    travel_a_per_pct_s: float | None
    hold_a_per_pct: float | None
    low: float | None
    high: float | None
    condition_index: float
    separable: bool
    chance: float | None = None
    moving_a: float | None = None
    moving_low_a: float | None = None
    moving_high_a: float | None = None
    resting_a: float | None = None
    moves: int | None = None
    basis: str = "control columns"
    controls: tuple[str, ...] = field(default=(), metadata=INNER)
    ground_a_per_pct_s: tuple[float, float, float] | None = field(default=None, metadata=INNER)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadChange:
    """The likeliest stretch of a flight in which a lead had another resistance.

    Attributes
    ----------
    place, parent : str
    start_s, end_s : float, float or None
        None: to the end.
    from_start : bool
        Whether it reaches back to the beginning.
    usual_mohm, change_mohm, error_mohm : float
        Resistance in the rest of the time; by how much more it is in the stretch, and the standard
        error of that.
    seconds : float
        How long it lasted.
    rms_a : float
        Root mean square of the current in it, A.
    step_v : float
        Step of the coarser of the two voltages, V, times the part of the time it stands still.
    confirmed : bool
        Whether the movement of the current within the stretch alone tells the change too, or the
        drop leapt in proportion to the current, not by a level.
    """

    place: str
    parent: str
    start_s: float
    end_s: float | None
    from_start: bool
    usual_mohm: float
    change_mohm: float
    error_mohm: float
    seconds: float
    rms_a: float
    step_v: float
    confirmed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DropRatio:
    """The resistances of two mirrored leads, by the same means over blocks of seconds.

    Attributes
    ----------
    place, mirror, parent : str
        ``place`` is the one with the larger one.
    own : bool
        Whether each is against its own current; else both are apparent, against that of the whole.
    ratio, low_ratio, error : float
        How many times the mirror's it is, at least, and its standard error.
    mohm, mirror_mohm, low_more_mohm : float
        Resistances, and by how much more it is at least.
    more_v : float
        By how much more it drops at the highest current, V.
    """

    place: str
    mirror: str
    parent: str
    own: bool
    ratio: float
    low_ratio: float
    error: float
    mohm: float
    mirror_mohm: float
    low_more_mohm: float
    more_v: float
