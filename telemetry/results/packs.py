"""What was measured on packs: charge, state, the path to what they feed, and failing to give."""

from __future__ import annotations

from dataclasses import dataclass, field

from telemetry.results.kinds import ChargeBasis, DroopKind, OutKind, OutSign
from telemetry.results.recording import Span
from telemetry.results.tables import INNER


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
    share_before : float or None
        Its usual share at such a load, 0 to 1; None where that is not known.
    carried_a : float or None
        Highest current that the others carried meanwhile.
    bus_v : float or None
        Lowest voltage of the bus (or of the first place that is no pack) meanwhile.
    own_v : float or None
        Median of the pack's own voltage meanwhile.
    sign : OutSign
        What the voltages say of it.
    """

    place: str
    kind: OutKind
    back: bool
    share_before: float | None
    carried_a: float | None
    bus_v: float | None
    own_v: float | None
    sign: OutSign = OutSign.UNKNOWN


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
class LoadDrop:
    """What load takes of the voltage of a pack, or of a bus whose packs are not logged.

    Attributes
    ----------
    place : str
    mohm, low_mohm, high_mohm : float
        Resistance against the current below, with its 95 % interval.
    high_a : float
        The high current of this recording: one reading in a hundred under load is above it.
    rest_v : float
    drop_pct, low_drop_pct : float
        Part of the voltage that is lost at the high current, and the low end of it.
    sound_mohm : float or None
        What a sound pack of its kind has at most; None where that is not known.
    by_profile : bool
        Whether that rests on the resistance that the profile gives, and not on its chemistry.
    temperature_c : float or None
        Of the pack, else the lowest that was logged at the start.
    of_a_pack : bool
        Whether it is the voltage of a pack, or of a bus.
    chemistry : str or None
        As the profile has it.
    """

    place: str
    mohm: float
    low_mohm: float
    high_mohm: float
    high_a: float
    rest_v: float
    drop_pct: float
    low_drop_pct: float
    sound_mohm: float | None = None
    by_profile: bool = False
    temperature_c: float | None = None
    of_a_pack: bool = True
    chemistry: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackTwins:
    """Of two packs that share the load, the one with more resistance against the other.

    Attributes
    ----------
    place, compared_with : str
    mohm, compared_mohm : float
        Over the same stretches of the log.
    times, low_times, high_times : float
        The first over the second, with its 95 % interval: known better than either.
    more_v : float or None
        What the excess takes over the currents that were seen.
    step_v : float
        The coarser step of the two voltages.
    slow_part, low_slow_part, high_slow_part : float or None
        What of the excess comes seconds after a step of the current, over what comes at once:
        0 where it is copper or a contact. None where that is not known.
    """

    place: str
    compared_with: str
    mohm: float
    compared_mohm: float
    times: float
    low_times: float
    high_times: float
    more_v: float | None = None
    step_v: float = field(default=0.0, metadata=INNER)
    slow_part: float | None = None
    low_slow_part: float | None = None
    high_slow_part: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackCapacity:
    """How much a pack holds, by how far its voltage at rest fell for the charge it gave.

    Attributes
    ----------
    place : str
    drawn_mah : float
        Given in this flight.
    low_mah, high_mah : float or None
        What it holds at least and at most; None where no curve tells it.
    compared_with : str or None
        The other pack of a pair.
    low_times, high_times : float or None
        Its capacity over the other's.
    one_kind : bool
        Whether only one chemistry and number of cells fits it.
    """

    place: str
    drawn_mah: float
    low_mah: float | None
    high_mah: float | None
    compared_with: str | None = None
    low_times: float | None = None
    high_times: float | None = None
    one_kind: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Knee(Span):
    """A stretch in which a pack's voltage fell faster and faster: the end of its charge.

    Attributes
    ----------
    place : str
    before_v, end_v : float
        Voltage, the load taken out, when it began and at its lowest.
    depth_v : float
        How far it fell beyond what it lost at its usual rate.
    """

    place: str
    before_v: float
    end_v: float
    depth_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Droop(Span):
    """How a held supply fell under load while its packs held, or followed them down.

    Attributes
    ----------
    place : str
    kind : DroopKind
    held_v, lowest_v, lowest_s : float
        What it holds at light load, the lowest reading of the falls, and when.
    pack_v : float
        The higher pack at that instant.
    times, readings : int
        How often it fell, and in how many readings.
    current_a : float
        Median of the whole current in the falls.
    temperature_c : float or None
        Highest temperature of the regulator or the bus in the falls.
    """

    place: str
    kind: DroopKind
    held_v: float
    lowest_v: float
    lowest_s: float
    pack_v: float
    times: int
    readings: int
    current_a: float
    temperature_c: float | None = None


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
    rest_floor_v, damage_v : float or None
        Of a lithium pack: at rest below the first it was run down and is not to be charged, below
        the second it is damaged.
    cells : int or None
        In series, where these two voltages rest on a known chemistry and number of cells.
    share, low_share, high_share : float or None
        Of the charge drawn under load while no pack was out, 0 to 1.
    change_share, low_change_share, high_change_share : float or None
        Of a change of the total current: what the resistances of the packs' paths make it,
        whatever their charge.
    off_balance : bool
        Whether a shared pack of a pair surely gives more or less than the limits allow.
    loaded_v : float or None
        Median voltage under load while no pack was out.
    charged_a, charged_s, charged_mah : float or None
        What flowed into it from the other packs: the higher part of that current, for how long, and
        how much. None where nothing did.
    counter_start_mah : float or None
        First reading of its counter of charge.
    drawn_mah, low_drawn_mah, high_drawn_mah : float or None
        Drawn in this flight.
    start_pct, low_start_pct, high_start_pct : float or None
    landing_pct, low_landing_pct, high_landing_pct : float or None
        Charge, % of capacity.
    basis : ChargeBasis
        What the charge rests on.
    flights_left, cautious_left : int or None
        Further flights with the reserve kept: like this one, and at the highest that so many may
        take together.
    """

    place: str
    role: str
    label: str | None = None
    rest_v: float | None = None
    landing_rest_v: float | None = None
    rest_floor_v: float | None = None
    damage_v: float | None = None
    cells: int | None = None
    share: float | None = None
    low_share: float | None = None
    high_share: float | None = None
    change_share: float | None = None
    low_change_share: float | None = None
    high_change_share: float | None = None
    off_balance: bool = False
    loaded_v: float | None = None
    charged_a: float | None = None
    charged_s: float | None = None
    charged_mah: float | None = None
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
    basis: ChargeBasis = ChargeBasis.NONE
    flights_left: int | None = None
    cautious_left: int | None = None

    @property
    def lowest_rest_v(self) -> float | None:
        """The lower one of its voltages at rest, V."""
        known = [v for v in (self.rest_v, self.landing_rest_v) if v is not None]
        return min(known, default=None)

    @property
    def run_down(self) -> bool:
        """Whether it rested below its floor: it is not to be charged."""
        low = self.lowest_rest_v
        return low is not None and self.rest_floor_v is not None and low < self.rest_floor_v
