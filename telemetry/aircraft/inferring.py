"""The power path read from the places of a log, as far as the user's profile leaves it out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import numpy as np

from telemetry.aircraft.feeding import unnamed_supply
from telemetry.aircraft.parts import Node, Pack
from telemetry.aircraft.path import Aircraft
from telemetry.model.channels import PlaceKind, Quantity, is_drive, kind_of_place, mirror_of
from telemetry.model.log import FloatArray, Log
from telemetry.numerics.wild import sound

# What a transmitter calls the aircraft in the lines before the header, in seven languages.
_MODEL = frozenset(
    {"model", "model name", "aircraft", "modell", "modellname", "modèle", "modele", "modelo"}
    | {"modello", "modelnaam", "vliegtuig", "letadlo", "název modelu"}
)
# What is one servo or one output of a node.
_OUTPUTS = ("servo", "channel", "output")
_NODES = (PlaceKind.NODE, PlaceKind.RECEIVER)
_SUPPLIES = (PlaceKind.PACK, PlaceKind.REGULATOR, PlaceKind.BUS)
# Of a place whose name tells nothing. Its usual voltage against that of what feeds it: beyond the
# higher bound something else feeds it, below the lower one it has a regulator of its own
# (heuristic; leads of servos lose a tenth of the supply at most, sensors are off by less). Its mean
# current against that of the whole: more than a part of it can't be, and a current alone that is
# all of it is the whole under another name (heuristic: current sensors are off by a few per cent).
# So is one with a voltage where the places beside it carry this part of the whole too.
_LEAST_V, _MOST_V = 0.85, 1.1
_MOST_A, _WHOLE_A, _SHARED_A = 1.1, 0.9, 0.5


def infer_path(log: Log) -> Aircraft:
    """The power path as far as the places of a log tell it: :func:`completed_from` nothing."""
    return completed_from(log, Aircraft(name=_named_in(log), inferred=True))


def completed_from(log: Log, aircraft: Aircraft) -> Aircraft:
    """The aircraft with every part that a log shows, also those that it does not list."""
    volts, amps = (
        {
            c.place: sound(log.values(c.key), quantity)
            for c in reversed(log.select(quantity))
            if c.place is not None
        }
        for quantity in (Quantity.VOLTAGE, Quantity.CURRENT)
    )
    # A lowest value alone makes no place, but where the name tells its part.
    places = {
        p: volts.get(p, np.empty(0))
        for p in log.places(Quantity.VOLTAGE, Quantity.CURRENT)
        if p in volts or p in amps or kind_of_place(p) in (*_NODES, *_SUPPLIES)
    }
    return completed(aircraft, places, amps, log.places(Quantity.CONSUMED))


def completed(
    aircraft: Aircraft,
    volts: Mapping[str, FloatArray],
    amps: Mapping[str, FloatArray],
    counted: Iterable[str] = (),
) -> Aircraft:
    """The aircraft with all that its readings show: a profile need not list it all.

    Packs, bus and regulator are the places named so. Beside listed packs only those join that are
    called like them but for number or side, for another pack may feed something else. Where there
    is a bus every node hangs there (common practice, no source: the two usual layouts), without one
    on the regulator, else on the one pack there is. Nothing is assumed of chemistry, capacity or
    leads.

    Where no name tells the bus or the packs, the readings may
    (:func:`telemetry.aircraft.feeding.unnamed_supply`): its ``by_readings`` are what was found, its
    ``unplaced`` the places where nothing was.

    What the name calls a node or receiver is one. Any other place with a voltage or current of its
    own is one as well, unless it is the drive or its readings say that it hangs elsewhere: a
    voltage above that of the supply, a current above that of the whole. What feeds it is left open
    where its voltage lies far below (a supply of its own lies between) and where it is one output
    of the nodes. Two that differ in their side alone are mirrors.

    Parameters
    ----------
    aircraft : Aircraft
    volts, amps : mapping of str to ndarray
        Voltages (V) and currents (A) by place; NaN where there is none.
    counted : iterable of str
        Places with a counter of consumed capacity alone: a pack may have no more.

    Returns
    -------
    Aircraft
        Its ``added`` names what the readings alone showed.
    """
    full = _with_unnamed(_with_supply(aircraft, [*volts, *amps], counted), volts, amps)
    seen = _Seen(full, volts, amps)
    listed = {full.bus, full.regulator, seen.feed}
    listed |= {n.name for n in full.nodes} | {p.name for p in full.packs}
    listed |= {s.name for s in full.supplies}
    fresh = [p for p in seen.places if p not in listed and kind_of_place(p) not in _SUPPLIES]
    nodes = [p for p in fresh if kind_of_place(p) in _NODES or seen.below(p)]
    outputs = {p for p in nodes if _is_output(p) and p not in seen.volts}
    alone = not full.nodes and outputs == set(nodes)
    made = tuple(
        Node(
            name=p,
            fed_from=seen.feed
            if kind_of_place(p) in _NODES or (seen.near(p) and (alone or p not in outputs))
            else None,
            mirror=mirror_of(p, seen.places),
        )
        for p in nodes
    )
    added = (*full.added, *(node.name for node in made))
    return full.model_copy(update={"nodes": (*full.nodes, *made), "added": added})


def _with_supply(aircraft: Aircraft, electrical: list[str], counted: Iterable[str]) -> Aircraft:
    """With the packs, the bus and the regulator that it does not list."""
    named = {
        kind: [p for p in dict.fromkeys(electrical) if kind_of_place(p) is kind]
        for kind in (PlaceKind.BUS, PlaceKind.REGULATOR)
    }
    listed = [p.name for p in aircraft.packs]
    packs = [
        p
        for p in dict.fromkeys((*electrical, *counted))
        if kind_of_place(p) is PlaceKind.PACK
        and p not in listed
        and (not listed or any(_alike(p, own) for own in listed))
    ]
    # Nodes that are listed hang where the profile says, which may be no bus.
    has_root = any(n.fed_from is not None for n in aircraft.nodes)
    bus = next(iter(named[PlaceKind.BUS] if not has_root else []), None)
    is_known = has_root or bool(aircraft.supplies)
    regulator = next(iter(named[PlaceKind.REGULATOR] if not is_known else []), None)
    fresh = {
        "bus": aircraft.bus or bus,
        "regulator": aircraft.regulator or regulator,
        "packs": (*aircraft.packs, *(Pack(name=p) for p in packs)),
    }
    added = [x for key in ("bus", "regulator") if (x := fresh[key]) and not getattr(aircraft, key)]
    return aircraft.model_copy(update={**fresh, "added": (*packs, *added)})


def _with_unnamed(
    aircraft: Aircraft, volts: Mapping[str, FloatArray], amps: Mapping[str, FloatArray]
) -> Aircraft:
    """With the bus and the packs that no name tells, where the readings do."""
    supplies = [s.name for s in aircraft.supplies]
    packs = [p.name for p in aircraft.packs]
    known = {aircraft.bus, aircraft.regulator, *packs, *supplies}
    fed = [p for p in dict.fromkeys([*volts, *amps]) if p not in known and not is_drive(p)]
    nodes = {n.name for n in aircraft.nodes}
    unnamed = [
        p
        for p in fed
        if p not in nodes
        and kind_of_place(p) is PlaceKind.OTHER
        and (p in volts or not _is_output(p))
    ]
    if not unnamed or supplies or aircraft.regulator is not None:
        return aircraft
    others = [p for p in fed if p not in unnamed]
    found = unnamed_supply(unnamed, others, volts, amps, bus=aircraft.bus, packs=packs)
    if found is None:
        open_ones = () if aircraft.root is not None or packs else tuple(unnamed)
        return aircraft.model_copy(update={"unplaced": open_ones})
    made = tuple(Pack(name=p) for p in found.packs if p not in packs)
    fresh = [p.name for p in made] + ([found.bus] if found.bus and not aircraft.bus else [])
    update = {
        "bus": found.bus,
        "packs": (*aircraft.packs, *made),
        "by_readings": tuple(fresh),
        "added": (*aircraft.added, *fresh),
    }
    return aircraft.model_copy(update=update)


def _alike(place: str, other: str) -> bool:
    """Whether two places are called the same but for a number or the side."""
    return mirror_of(place, [other]) is not None or re.sub(r"\d+", "", place) == re.sub(
        r"\d+", "", other
    )


def _is_output(place: str) -> bool:
    """One servo or output: where there are nodes it hangs on one of them."""
    return place.partition(" ")[0] in _OUTPUTS or kind_of_place(place) is PlaceKind.SURFACE


class _Seen:
    """What the readings of a log, or of many, tell of its places."""

    def __init__(
        self, aircraft: Aircraft, volts: Mapping[str, FloatArray], amps: Mapping[str, FloatArray]
    ) -> None:
        self.places = tuple(dict.fromkeys([*volts, *amps]))
        self.volts = {p: float(np.median(x)) for p, x in _known(volts).items()}
        self.amps = {p: float(np.mean(x)) for p, x in _known(amps).items()}
        kinds = {p: kind_of_place(p) for p in self.places}
        self.packs = [p.name for p in aircraft.packs]
        self.packs = self.packs or [p for p in kinds if kinds[p] is PlaceKind.PACK]
        found = [
            p for kind in (PlaceKind.BUS, PlaceKind.REGULATOR) for p in kinds if kinds[p] is kind
        ]
        found += self.packs if len(self.packs) == 1 else []
        self.feed = aircraft.root or next(iter(found), None)

    def below(self, place: str) -> bool:
        """Whether a place can hang below the supply of the servos."""
        if is_drive(place):
            return False
        volts, amps = self.volts.get(place), self.amps.get(place)
        supplies = [self.feed] if self.feed in self.volts else self.packs
        supply_v = max((self.volts[p] for p in supplies if p in self.volts), default=None)
        if volts is not None and supply_v is not None and volts > _MOST_V * supply_v:
            return False
        if amps is None:
            return volts is not None and self.near(place)
        whole = self._whole()
        if whole is None:
            return volts is not None or not self._is_sum(place)
        others = sum(a for p, a in self.amps.items() if p not in (place, self.feed, *self.packs))
        is_whole = volts is None or others > _SHARED_A * whole  # the others hang on it
        return amps < (_WHOLE_A if is_whole else _MOST_A) * whole

    def near(self, place: str) -> bool:
        """Whether its voltage can be that of the feed behind a lead; True where not known."""
        own, above = self.volts.get(place), self.volts.get(self.feed or "")
        return own is None or above is None or own >= _LEAST_V * above

    def _whole(self) -> float | None:
        """Mean current of the whole, A: of the feed, of all packs; None where neither is known."""
        if self.feed in self.amps:
            return self.amps[self.feed]
        packs = [self.amps[p] for p in self.packs if p in self.amps]
        return sum(packs) if packs and len(packs) == len(self.packs) else None

    def _is_sum(self, place: str) -> bool:
        """Whether its current is about that of all other places together."""
        others = [a for p, a in self.amps.items() if p != place]
        return len(others) > 1 and _WHOLE_A * sum(others) < self.amps[place] < _MOST_A * sum(others)


def _known(series: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    finite = {p: x[np.isfinite(x)] for p, x in series.items()}
    return {p: x for p, x in finite.items() if x.size}


def _named_in(log: Log) -> str:
    """The aircraft's name as the lines before the header give it."""
    found = (value.strip() for key, value in log.provenance.preamble if key.casefold() in _MODEL)
    return next((name for name in found if name), "unnamed")
