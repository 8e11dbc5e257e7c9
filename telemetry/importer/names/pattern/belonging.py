"""Which columns are of one place, as their values show: copies that are none, halves that fit.

Two columns that are read as one quantity of one place are copies of one value only where they hold
the same. A voltage whose place has no current and a current whose place has no voltage may be of
one place under two names: then that voltage falls below the supply as that current is drawn.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from telemetry.importer.names.choose import Choice
from telemetry.importer.names.columns import Resolved
from telemetry.importer.names.settings import text_of
from telemetry.model.channels import (
    Channel,
    PlaceKind,
    Quantity,
    is_drive,
    kind_of_place,
    mirror_of,
)
from telemetry.numerics.sampling import resolution

FloatArray = NDArray[np.float64]

_SUPPLY = (Quantity.VOLTAGE, Quantity.CURRENT)
_ABOVE = (PlaceKind.PACK, PlaceKind.REGULATOR, PlaceKind.BUS)
_OUTPUTS = ("servo", "channel", "output")
#: Blocks of rows whose means are held against each other, at most and at least, and the rows of one
#: at least (heuristic: sensors are polled in turn, one some rows later than another).
_BLOCKS, _LEAST_BLOCKS, _LEAST_ROWS = 40, 20, 5
#: Copies differ by no more than so many steps, or by this part of what they vary (heuristic: gains
#: and lags of two sensors of one value).
_STEPS, _PART = 4.0, 0.15
#: Correlation of what a lead takes with the current of its place, at least, and how much more any
#: other current that the names allow must leave (heuristic).
_FITS, _BETTER = 0.7, 2.0


def set_apart(chosen: Sequence[Choice], out: Sequence[Resolved], notes: list[str]) -> None:
    """Voltages and currents that are read as of one place and hold other values are not known.

    Parameters
    ----------
    chosen : sequence of Choice
    out : sequence of Resolved
        Changed in place.
    notes : list of str
        What was set apart is added to it.
    """
    groups: dict[tuple[Quantity, str], list[int]] = defaultdict(list)
    for i, item in enumerate(out):
        c = item.channel
        if c.quantity in _SUPPLY and c.place and not c.hold and item.values is not None:
            groups[c.quantity, c.place].append(i)
    for (quantity, place), group in groups.items():
        if len(group) < 2:
            continue
        first = max(group, key=lambda i: chosen[i].reading.weight)
        weight = chosen[first].reading.weight
        others = [i for i in group if i != first and not _same(out[first].sound, out[i].sound)]
        # Of two that may be it alike, neither is.
        tied = [i for i in others if chosen[i].reading.weight >= weight]
        for i in (*([first] if tied else []), *others):
            if chosen[i].forced:
                continue
            title = out[others[0] if i == first else first].channel.column.strip()
            why = f"'{title}' is read as {place}/{quantity} too and holds other values"
            out[i].channel = _not_known(out[i].channel, f"{why}: its place is not told")
            notes.append(f"column '{out[i].channel.column.strip()}': {why}: not used")


def _not_known(channel: Channel, why: str) -> Channel:
    unit = channel.source_unit or channel.unit
    rival = text_of(channel.quantity, channel.place, unit, channel.hold, channel.cell)
    return replace(
        channel,
        quantity=Quantity.UNKNOWN,
        place=None,
        reason=why,
        rivals=(rival,),
        looks_like=str(channel.quantity),
    )


def _same(a: FloatArray, b: FloatArray) -> bool:
    """Whether two columns hold one value, but for lag, gain and offset of two sensors."""
    x, y = _means(a), _means(b)
    both = np.isfinite(x) & np.isfinite(y)
    if np.count_nonzero(both) < _LEAST_BLOCKS:
        return True
    varies = max(_spread(x[both]), _spread(y[both]))
    steps = [s for s in (resolution(a), resolution(b)) if s is not None]
    return _spread(x[both] - y[both]) <= max(_STEPS * max(steps, default=0.0), _PART * varies)


def _spread(values: FloatArray) -> float:
    """From the 5th to the 95th percentile, a steady rise or fall taken out: a pack runs down."""
    at = np.arange(values.size)
    low, high = np.percentile(values - np.polyval(np.polyfit(at, values, 1), at), [5, 95])
    return float(high - low)


def _means(values: FloatArray) -> FloatArray:
    """Means over blocks of rows, NaN where a block is empty."""
    per_block = max(_LEAST_ROWS, -(-values.size // _BLOCKS))
    padding = np.full(-values.size % per_block, np.nan)
    blocks = np.append(values, padding).reshape(-1, per_block)
    known = np.isfinite(blocks)
    count = known.sum(axis=1)
    total = np.where(known, blocks, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def join_halves(out: Sequence[Resolved]) -> None:
    """Join a lone current with the lone voltage that falls as it is drawn: one place, two names.

    Only where the names say one side or number, and each fits the other best of those.

    Parameters
    ----------
    out : sequence of Resolved
        Changed in place.
    """
    feed = next(
        (
            o.sound
            for kind in (PlaceKind.BUS, PlaceKind.PACK)
            for o in out
            if _is_plain(o, Quantity.VOLTAGE) and kind_of_place(o.channel.place or "") is kind
        ),
        None,
    )
    if feed is None:
        return
    volts, amps = _lone(out, Quantity.VOLTAGE), _lone(out, Quantity.CURRENT)
    places = {o.channel.place or "" for o in out}
    fits = {
        (v, a): _fit(feed - out[v].sound, out[a].sound)
        for v in volts
        for a in amps
        if _may_belong(out[v].channel, out[a].channel, places)
    }
    for (v, a), fit in fits.items():
        rivals = [x for (w, b), x in fits.items() if (w == v) != (b == a)]
        left = 1.0 - fit**2
        if fit >= _FITS and all(x <= 0 or 1.0 - x**2 >= _BETTER * left for x in rivals):
            voltage, current = out[v].channel, out[a].channel
            # The place keeps the name that somebody knows.
            at, to = (v, current) if voltage.own_word and not current.own_word else (a, voltage)
            why = f"'{voltage.column.strip()}' falls as '{current.column.strip()}' is drawn, and"
            why = f"{out[at].channel.reason}; {why} neither has another: {to.place}"
            out[at].channel = replace(
                out[at].channel, place=to.place, own_word=to.own_word, reason=why
            )


def _is_plain(item: Resolved, quantity: Quantity) -> bool:
    c = item.channel
    return c.quantity is quantity and bool(c.place) and not c.hold and item.values is not None


def _lone(out: Sequence[Resolved], quantity: Quantity) -> list[int]:
    """Columns of nodes whose place has nothing of the other quantity."""
    other = next(q for q in _SUPPLY if q is not quantity)
    has = {o.channel.place for o in out if o.channel.quantity is other}
    return [
        i
        for i, o in enumerate(out)
        if _is_plain(o, quantity)
        and o.channel.place not in has
        and kind_of_place(o.channel.place or "") not in _ABOVE
        and not is_drive(o.channel.place or "")
        and (o.channel.place or "").partition(" ")[0] not in _OUTPUTS
    ]


def _may_belong(a: Channel, b: Channel, places: Collection[str]) -> bool:
    """Whether the names speak for one place: one side or number, and no two parts of the airframe.

    That all servos move at once makes any current go with any drop: without a word for it, nothing
    is joined.
    """
    one, other = a.place or "", b.place or ""
    sides = [_side(p, places) for p in (one, other)]
    numbers = [set(re.findall(r"\d+", p)) for p in (one, other)]
    known = [kind_of_place(p) for p in (one, other)]
    alike = all(x[0] == x[1] for x in (sides, numbers)) and any((*sides, *numbers))
    nodes = all(k is PlaceKind.NODE for k in known)
    return alike and not nodes and PlaceKind.RECEIVER not in known


def _side(place: str, places: Collection[str]) -> str:
    """The side that a name says, by a word or by a code with its mirror beside it; "" for none."""
    mirror = mirror_of(place, places)
    for side in ("left", "right"):
        if side in place.split():
            return side
    letters = (x for x, y in zip(place, mirror or "", strict=False) if x != y)
    return {"l": "left", "r": "right"}.get(next(letters, ""), "")


def _fit(drop: FloatArray, amps: FloatArray) -> float:
    """Correlation of what a lead takes with a current, by means over blocks."""
    x, y = _means(amps), _means(drop)
    both = np.isfinite(x) & np.isfinite(y)
    if np.count_nonzero(both) < _LEAST_BLOCKS or not (np.ptp(x[both]) and np.ptp(y[both])):
        return 0.0
    return float(np.corrcoef(x[both], y[both])[0, 1])
