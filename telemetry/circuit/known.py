"""What a flight and the profile tell of the power path, as named numbers with intervals."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from telemetry.aircraft import Aircraft
from telemetry.aircraft.wire import branch_mohm, lead_mohm
from telemetry.measure.away import HEAD_V
from telemetry.numerics.intervals import Interval, propagate
from telemetry.results import Resistance

# A linear regulator's least drop where no data sheet tells it (common practice, no source).
_DROPOUT_V = Interval(0.25, 0.0, 0.5)
# How far a pack's resistance in a profile may lie from the pack's today (heuristic: age and cold).
_PROFILE_PART = 0.25

# What a lasting step of the load costs beyond the resistance read within seconds, as a part of it:
# a pack goes on relaxing for a minute (heuristic; 20 + 10 mOhm with 10 s gives a third more at 10 s
# than at 1 s).
_SLOW = Interval(0.25, 0.0, 0.5)

# A servo that holds against air takes its current at any voltage (0), one that starts or stalls is
# a resistance (1). Which of them made the peak is not known: the value lies midway (heuristic).
_YIELDS = Interval(0.5, 0.0, 1.0)

TOTAL = "total"

Kind = Literal[
    "volts",
    "amps",
    "ohm",
    "apparent",
    "way",
    "share",
    "peak",
    "return",
    "dropout",
    "slow",
    "yields",
]


class Input(NamedTuple):
    """The name of a number that the cases start from: what it is, and of which place.

    ``volts`` and ``amps`` at landing; ``ohm`` of a pack, of the root or of a node's lead,
    ``apparent`` that of a lead against the total current, ``way`` from inside a pack to the root;
    ``share`` of a pack; ``peak`` and ``return``, currents under load; of the whole path ``dropout``
    of its regulators, ``slow``, and how the load ``yields``. In V, A and Ohm; parts of 0 to 1.
    """

    kind: Kind
    place: str = ""


DROPOUT, SLOW, YIELDS = Input("dropout"), Input("slow"), Input("yields")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What the margins start from; mappings go by place, and hold what is known.

    Attributes
    ----------
    lowest_v : mapping
        Lowest voltage under load, V.
    comfort_v : mapping of float
        Lowest comfortable supply of each place, V.
    landing_v, landing_a : mapping of Interval
        Mean voltage, V, and current, A, of each place just before landing, over one and the same
        stretch. ``landing_a["total"]`` is the current of the whole.
    usual_a : mapping of float
        Highest mean current of each place over a minute, A: what leads and contacts warm up to.
    peak_a : mapping of Interval
        Highest current of each place, A; ``peak_a["total"]`` of the whole. The value is the
        highest reading, the high end what may have passed between two readings.
    share : mapping of Interval
        Share of each pack in a change of the total current, 0 to 1.
    return_a : mapping of Interval
        Return level of the current of each place but packs and root, A; ``return_a["total"]`` of
        the whole.
    no_return : mapping of str
        Why one of these has no return level.
    gone : frozenset of str
        Packs that gave nothing at landing although they share the load.
    yields : Interval
        How far the load falls with its voltage: 0 not at all, 1 as a resistance does.
    """

    lowest_v: Mapping[str, float] = field(default_factory=dict)
    comfort_v: Mapping[str, float] = field(default_factory=dict)
    landing_v: Mapping[str, Interval] = field(default_factory=dict)
    landing_a: Mapping[str, Interval] = field(default_factory=dict)
    usual_a: Mapping[str, float] = field(default_factory=dict)
    peak_a: Mapping[str, Interval] = field(default_factory=dict)
    share: Mapping[str, Interval] = field(default_factory=dict)
    return_a: Mapping[str, Interval] = field(default_factory=dict)
    no_return: Mapping[str, str] = field(default_factory=dict)
    gone: frozenset[str] = frozenset()
    yields: Interval = _YIELDS


class Known:
    """The path with everything known of it as named numbers with intervals."""

    def __init__(
        self, aircraft: Aircraft, resistances: Sequence[Resistance], measured: Measured
    ) -> None:
        self.aircraft = aircraft
        self.measured = measured
        self.root = aircraft.root
        self.shared = [p.name for p in aircraft.packs if p.role == "shared"]
        self.present = [p for p in self.shared if p not in measured.gone]
        self.inputs: dict[Input, Interval] = {}
        self._notes: dict[str, list[str]] = {}
        self._known = [r for r in resistances if r.mohm is not None]
        named = [*(n.name for n in aircraft.nodes), *measured.lowest_v]
        # The way from each place up to the root.
        self.ways = {p: aircraft.feed_path(p, self.root or "") for p in named}
        self.regulated = aircraft.regulated_v is not None or any(
            r.place == self.root and r.regulated for r in resistances
        )
        known: tuple[tuple[Kind, Mapping[str, Interval]], ...] = (
            ("volts", measured.landing_v),
            ("amps", measured.landing_a),
            ("share", measured.share),
            ("peak", measured.peak_a),
            ("return", measured.return_a),
        )
        for kind, values in known:
            self.inputs |= {Input(kind, place): x for place, x in values.items()}
        self.inputs[SLOW], self.inputs[YIELDS] = _SLOW, measured.yields
        whole = self.inputs.get(Input("amps", TOTAL))
        if len(aircraft.packs) == 1 and whole is not None:
            self.inputs.setdefault(Input("amps", aircraft.packs[0].name), whole)
        self._add_resistances()

    def _add_resistances(self) -> None:
        aircraft, x = self.aircraft, self.inputs
        for pack in aircraft.packs:
            own = self._measured(pack.name, "source")
            apparent = self._measured(pack.name, "apparent")
            if own is None and apparent is not None and Input("share", pack.name) in x:
                own = _combined(lambda a, s: a / s, apparent, x[Input("share", pack.name)])
            if own is None and apparent is not None and len(aircraft.packs) == 1:
                own = apparent
            if own is None and pack.resistance_mohm is not None:
                told = pack.resistance_mohm / 1000
                own = Interval.around(told, _PROFILE_PART * told)
                self._note(pack.name, f"resistance of {pack.name} from the profile")
            if own is not None:
                x[Input("ohm", pack.name)] = own
        if self.root is not None:
            whole = self._measured(self.root, "source")
            if whole is None and self.regulated:
                whole = self._droop()
            if whole is not None:
                x[Input("ohm", self.root)] = whole
        for node in aircraft.nodes:
            own = self._measured(node.name, "branch", node.fed_from)
            if own is None and node.lead is not None and node.name != self.root:
                own = _ohm(lead_mohm(node.lead))
                self._note(node.name, f"lead of {node.name} from the wire table")
            if own is not None and node.name != self.root:
                x[Input("ohm", node.name)] = own
            if (apparent := self._measured(node.name, "apparent")) is not None:
                x[Input("apparent", node.name)] = apparent
                if Input("amps", node.name) not in x:
                    self._note(node.name, f"lead of {node.name} judged by the total current")
        for pack in aircraft.packs:
            if (way := self._way(pack.name)) is not None:
                x[Input("way", pack.name)] = way
        drops = [s.dropout_v for s in aircraft.supplies if s.kind == "regulator"]
        told_drops = [d for d in drops if d is not None]
        if told_drops and len(told_drops) == len(drops):
            x[DROPOUT] = Interval.exact(max(told_drops))
        else:
            x[DROPOUT] = _DROPOUT_V

    def _droop(self) -> Interval | None:
        """Output resistance of a regulator, from the lowest reading under load.

        That reading may be of another cause, and a lower one may have been missed.
        """
        root, state = self.root or "", self.measured
        volts, low = state.landing_v.get(root), state.lowest_v.get(root)
        amps, peak = state.landing_a.get(TOTAL), state.peak_a.get(TOTAL)
        if volts is None or low is None or amps is None or peak is None:
            return None
        if peak.value <= amps.value:
            return None
        most = max(volts.value - low, 0.0) / (peak.value - amps.value)
        self._note(root, "droop of the regulator from the lowest reading")
        return Interval(most, 0.0, 1.5 * most)

    def _note(self, place: str, words: str) -> None:
        self._notes.setdefault(place, []).append(words)

    def _measured(self, place: str, kind: str, parent: str | None = None) -> Interval | None:
        for r in self._known:
            if r.place == place and r.kind == kind and (parent is None or r.parent == parent):
                value = float(r.mohm or 0.0)
                low = value if r.low_mohm is None else min(r.low_mohm, value)
                high = value if r.high_mohm is None else max(r.high_mohm, value)
                return _ohm(Interval(value, low, high))
        return None

    def _way(self, pack: str) -> Interval | None:
        """Resistance from inside a pack to the root: measured in parts, by share, or expected."""
        if self.root is None or self.root == pack:
            return None
        x = self.inputs
        inner = x.get(Input("ohm", pack))
        path = self._measured(self.root, "branch", pack)
        if inner is not None and path is not None:
            return _combined(lambda a, b: a + b, inner, path)
        whole, share = x.get(Input("ohm", self.root)), x.get(Input("share", pack))
        if whole is not None and share is not None and share.low > 0:
            return _combined(lambda a, b: a / b, whole, share)
        expected = branch_mohm(self.aircraft, self.root, pack)
        if inner is not None and expected is not None:
            self._note(pack, f"lead of {pack} from the wire table")
            return _combined(lambda a, b: a + b, inner, _ohm(expected))
        return None

    def notes_on(self, place: str) -> list[str]:
        """What the way from the packs to a place rests on besides measurements."""
        root, packs = self.root or place, [p.name for p in self.aircraft.packs]
        parts = [*self.aircraft.feed_path(place, root), *packs]
        notes = [words for p in dict.fromkeys(parts) for words in self._notes.get(p, ())]
        if self.regulated and self.limit_a(packs) is None:
            notes.append("the regulator's current limit is not in the profile")
        if not self.regulated and self._head_v() > HEAD_V:
            notes.append("the packs lie well above the bus: a regulator not in the profile?")
        return notes

    def _head_v(self) -> float:
        """How far the lowest pack lies above the root at landing, V; 0 where not known."""
        root_v = self.measured.landing_v.get(self.root or "")
        packs = [self.measured.landing_v.get(p) for p in self.present]
        known = [v.value for v in packs if v is not None]
        return min(known) - root_v.value if known and root_v is not None else 0.0

    def limit_a(self, packs: list[str]) -> float | None:
        """Current limit of the supplies that these packs feed, together; None if not told."""
        aircraft, total = self.aircraft, 0.0
        if all(s.limit_a is None for s in aircraft.supplies):
            return None
        for name in aircraft.feeders(self.root or ""):
            supply = aircraft.supply(name)
            if supply is None or supply.limit_a is None:
                return None
            if any(aircraft.feed_path(name, p) for p in packs):
                total += supply.limit_a
        return total if total > 0 else None


def _ohm(mohm: Interval) -> Interval:
    return Interval(mohm.value / 1000, mohm.low / 1000, mohm.high / 1000)


def _combined(of: Callable[[float, float], float], a: Interval, b: Interval) -> Interval:
    return propagate(lambda x: {"r": of(x["a"], x["b"])}, {"a": a, "b": b})["r"]
