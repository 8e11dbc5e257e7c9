"""What is in the packs: charge at start and landing, flights left, and what a voltage can tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
import scipy

from telemetry.aircraft import CELL_V
from telemetry.numerics.intervals import Interval
from telemetry.results import ChargeBasis

# Open-circuit voltage of one lithium cell against charge, V at 0 to 100 %. Cells of one name
# differ by their electrode: the first two are typical of pouch cells and of round cells (common
# practice, no source), the third was measured on a manganese blend (G. Wiggins, S. Allu, H. Wang,
# Oak Ridge National Laboratory, doi 10.5281/zenodo.2580327, rest voltages at 25 degC). Lithium
# iron phosphate and nickel metal hydride are flat and have no curve.
_CHARGE_PCT = (0, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100)
_OPEN_V: dict[str, tuple[float, ...]] = {
    "lipo": (3.27, 3.61, 3.69, 3.73, 3.77, 3.80, 3.84, 3.87, 3.95, 4.02, 4.11, 4.20),
    "liion": (2.90, 3.20, 3.33, 3.45, 3.53, 3.60, 3.67, 3.77, 3.87, 3.97, 4.06, 4.19),
}
_BLEND_V = (3.44, 3.57, 3.66, 3.77, 3.84, 3.89, 3.92, 3.96, 4.00, 4.05, 4.09, 4.18)
# A voltage sensor of half a percent (heuristic).
_REST_PM_V = 0.02
# Charge that goes in against charge that can be drawn again, lithium and nickel cells (common
# practice, no source); a pack counts as full after a charge that ended by itself.
_YIELD = {"lipo": 0.99, "liion": 0.99, "life": 0.99, "nimh": 0.85}
# Two counts of one current through one sensor may differ by this much without a reason: sensor
# clock, rounding, sampling (heuristic).
_COUNT_PART, _COUNT_MAH = 0.05, 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeEntry:
    """One line of a pack's record.

    Attributes
    ----------
    kind : str
        "charged" or "drawn".
    mah : Interval or None
        How much; None for a charge until full.
    """

    kind: Literal["charged", "drawn"]
    mah: Interval | None


def drawn_since_full(
    entries: Sequence[ChargeEntry], chemistry: str | None = None
) -> Interval | None:
    """Charge drawn since the pack was last full, mAh.

    Parameters
    ----------
    entries : sequence of ChargeEntry
        The pack's record in the order of time.
    chemistry : str or None
        For the yield of a charge by amount; lithium where it is not known.

    Returns
    -------
    Interval or None
        None where no charge until full is on record, or a drawn amount after it is not known.
    """
    full = [i for i, e in enumerate(entries) if e.kind == "charged" and e.mah is None]
    if not full:
        return None
    value, minus, plus = 0.0, 0.0, 0.0
    for e in entries[full[-1] + 1 :]:
        if e.mah is None:
            return None
        low, high = e.mah.value - e.mah.low, e.mah.high - e.mah.value
        if e.kind == "drawn":
            value, minus, plus = value + e.mah.value, minus + low**2, plus + high**2
        else:
            kept = _YIELD[chemistry or "lipo"]
            value = max(value - kept * e.mah.value, 0.0)
            minus, plus = minus + (kept * high) ** 2, plus + (kept * low) ** 2
    half = math.sqrt(minus)
    return Interval(value, max(value - half, 0.0), value + math.sqrt(plus))


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeState:
    """Charge of a pack at start and landing, % of capacity.

    Attributes
    ----------
    start_pct, landing_pct : Interval or None
        None where neither records nor a rest voltage tell it.
    basis : ChargeBasis
    """

    start_pct: Interval | None
    landing_pct: Interval | None
    basis: ChargeBasis


def charge_state(
    *,
    capacity_mah: float | None,
    before_mah: Interval | None,
    drawn_mah: Interval | None,
    chemistry: str | None = None,
    rest_cell_v: float | None = None,
) -> ChargeState:
    """Charge at the start and at the landing of a flight.

    Parameters
    ----------
    capacity_mah : float or None
        Of the pack, as the profile has it.
    before_mah : Interval or None
        Drawn since it was last full, before this flight (:func:`drawn_since_full`).
    drawn_mah : Interval or None
        Drawn in this flight.
    chemistry : str or None
    rest_cell_v : float or None
        Voltage of one cell at rest before the flight; used only where there are no records and
        the chemistry is not flat.

    Returns
    -------
    ChargeState
    """
    if capacity_mah is None:
        return ChargeState(start_pct=None, landing_pct=None, basis=ChargeBasis.NONE)
    start, basis = None, ChargeBasis.NONE
    if before_mah is not None:
        start, basis = _left(before_mah, capacity_mah), ChargeBasis.RECORDS
    elif rest_cell_v is not None:
        start = charge_from_rest(chemistry, rest_cell_v)
        basis = ChargeBasis.NONE if start is None else ChargeBasis.REST_VOLTAGE
    landing = None
    if start is not None and drawn_mah is not None:
        used = _part(drawn_mah, capacity_mah)
        landing = _clipped(
            start.value - used.value,
            math.hypot(start.value - start.low, used.high - used.value),
            math.hypot(start.high - start.value, used.value - used.low),
        )
    return ChargeState(start_pct=start, landing_pct=landing, basis=basis)


def _part(mah: Interval, capacity_mah: float) -> Interval:
    return Interval(*(100 * x / capacity_mah for x in (mah.value, mah.low, mah.high)))


def _left(drawn: Interval, capacity_mah: float) -> Interval:
    used = _part(drawn, capacity_mah)
    return _clipped(100 - used.value, used.high - used.value, used.value - used.low)


def _clipped(value: float, minus: float, plus: float) -> Interval:
    """Percent, held to 0 and 100."""
    ends = (value, value - minus, value + plus)
    return Interval(*(min(max(x, 0.0), 100.0) for x in ends))


class ChargeCurve(NamedTuple):
    """Open-circuit voltage of one cell against its charge."""

    volts: tuple[float, ...]

    def pct(self, cell_v: float) -> float:
        """Charge at a voltage at rest, %."""
        return float(np.interp(cell_v, self.volts, _CHARGE_PCT))


def charge_curves(chemistry: str) -> tuple[ChargeCurve, ...]:
    """The usual curves of a chemistry's cells; empty where it is flat or not known."""
    if chemistry not in _OPEN_V:
        return ()
    return tuple(ChargeCurve(volts) for volts in (*_OPEN_V.values(), _BLEND_V))


def charge_from_rest(chemistry: str | None, cell_v: float) -> Interval | None:
    """Charge that a cell's rest voltage tells, %; None where the chemistry is flat or unknown.

    The interval spans the curves of the usual lithium cells: near half charge they differ by
    thirty points and more, so that a voltage there says little.

    Parameters
    ----------
    chemistry : str or None
    cell_v : float
        Voltage of one cell after some minutes without load, V.
    """
    if chemistry is None or chemistry not in _OPEN_V:
        return None
    family = charge_curves(chemistry)
    return Interval(
        ChargeCurve(_OPEN_V[chemistry]).pct(cell_v),
        min(curve.pct(cell_v - _REST_PM_V) for curve in family),
        max(curve.pct(cell_v + _REST_PM_V) for curve in family),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightsLeft:
    """How many more flights fit on the charge in a pack, keeping the reserve.

    Attributes
    ----------
    usual : int
        At the mean charge of the flights so far.
    cautious : int
        At the highest charge that so many flights may take together (one-sided 95 %), with the
        low end of what is left.
    """

    usual: int
    cautious: int


def flights_left(
    *,
    capacity_mah: float,
    drawn_mah: Interval,
    flights_mah: Sequence[float],
    reserve_pct: float,
) -> FlightsLeft | None:
    """Flights that fit on this charge.

    Parameters
    ----------
    capacity_mah : float
    drawn_mah : Interval
        Drawn since the pack was last full.
    flights_mah : sequence of float
        What earlier flights took from this pack.
    reserve_pct : float
        What has to be left at landing, % of capacity.

    Returns
    -------
    FlightsLeft or None
        None without an earlier flight. With fewer than three, the cautious number counts each
        further flight like the highest of them and a quarter more (heuristic).

    Notes
    -----
    Charge of ``k`` further flights: ``k m + t s sqrt(k + k^2 / n)``, the prediction bound for a
    sum of ``k`` from ``n`` flights of mean ``m`` and standard deviation ``s``.
    """
    taken = np.asarray(flights_mah, dtype=np.float64)
    if taken.size == 0:
        return None
    reserve = capacity_mah * reserve_pct / 100
    usual = float(taken.mean())

    def needed(k: int) -> float:
        if taken.size < 3:
            return k * 1.25 * float(taken.max())
        n = taken.size
        t = float(scipy.special.stdtrit(n - 1, 0.95))
        return k * usual + t * float(taken.std(ddof=1)) * math.sqrt(k + k * k / n)

    room = capacity_mah - drawn_mah.value - reserve
    low_room = capacity_mah - drawn_mah.high - reserve
    fit = max(int(room // usual), 0) if usual > 0 else 0
    cautious = next(k for k in range(fit, -1, -1) if k == 0 or needed(k) <= low_room)
    return FlightsLeft(usual=fit, cautious=cautious)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mismatch:
    """A unit's own counter held against the current added up from the log.

    Attributes
    ----------
    ratio : Interval
        Counter over integral.
    differs : bool
        Whether that is beyond what sampling and rounding explain.
    """

    ratio: Interval
    differs: bool


def counter_mismatch(
    logged_mah: float, integrated_mah: float, uncertain_mah: float | None = None
) -> Mismatch | None:
    """Whether counter and integral tell different charges.

    Parameters
    ----------
    logged_mah, integrated_mah : float
    uncertain_mah : float or None
        Standard uncertainty of the integral: sampling, and the current across gaps.

    Returns
    -------
    Mismatch or None
        None where the integral is too small to compare.
    """
    if integrated_mah <= 2 * _COUNT_MAH:
        return None
    allowed = math.hypot(
        max(_COUNT_PART * integrated_mah, _COUNT_MAH),
        0.0 if uncertain_mah is None else 2 * uncertain_mah,
    )
    low, high = integrated_mah - allowed, integrated_mah + allowed
    least = logged_mah / low if low > 0 else math.copysign(math.inf, logged_mah)
    # A counter that ran backwards, of a pack that was charged, turns the ends round.
    ends = sorted((logged_mah / high, least))
    ratio = Interval(logged_mah / integrated_mah, *ends)
    return Mismatch(ratio=ratio, differs=not ratio.low <= 1.0 <= ratio.high)


@dataclass(frozen=True, slots=True, kw_only=True)
class PackGuess:
    """What a pack may be, from its voltage at rest.

    Attributes
    ----------
    candidates : tuple of (str, int)
        Chemistry and cells in series that fit.
    chemistry : str or None
        Where all candidates agree on it.
    cells : int or None
        Where all candidates agree on it.
    """

    candidates: tuple[tuple[str, int], ...]
    chemistry: str | None
    cells: int | None


# Cells in series that radio packs come with (common practice, no source).
_USUAL_CELLS = {"lipo": range(1, 7), "liion": range(1, 7), "life": range(1, 7), "nimh": range(4, 9)}
# What a rested cell that is fit for flight shows, V: from nearly empty to fresh off the charger
# (common practice, no source; full values as in the table of cell voltages).
_RESTED_EMPTY_V = {"lipo": 3.55, "liion": 3.30, "life": 3.15, "nimh": 1.18}


def guess_pack(rest_v: float, later_rest_v: float | None = None) -> PackGuess:
    """Chemistry and cells that a voltage at rest allows; usually more than one.

    Parameters
    ----------
    rest_v : float
        At rest before the flight, V.
    later_rest_v : float or None
        At rest after it, where the log has that.

    Returns
    -------
    PackGuess
        ``chemistry`` and ``cells`` are None where the voltage leaves them open: 8.2 V is two
        lithium cells of either kind, or six or seven nickel cells. Nothing is assumed silently.
    """
    seen = [rest_v] if later_rest_v is None else [rest_v, later_rest_v]
    found = tuple(
        (chemistry, cells)
        for chemistry, counts in _USUAL_CELLS.items()
        for cells in counts
        if all(
            cells * _RESTED_EMPTY_V[chemistry] <= v <= cells * (CELL_V[chemistry][0] + 0.02)
            for v in seen
        )
    )
    kinds, numbers = {k for k, _ in found}, {n for _, n in found}
    return PackGuess(
        candidates=found,
        chemistry=next(iter(kinds)) if len(kinds) == 1 else None,
        cells=next(iter(numbers)) if len(numbers) == 1 else None,
    )
