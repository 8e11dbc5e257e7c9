"""The path of one flight as a circuit with numbers, and the three worst cases solved on it.

See :mod:`telemetry.power.margins` for the cases. Every number of the circuit has a name and an
interval, so that a case is a plain function of named numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from telemetry.aircraft import Aircraft
from telemetry.power.intervals import Interval, propagate
from telemetry.power.network import Line, load_ohm, loaded_v, place_volts, together_v
from telemetry.power.wire import branch_mohm, lead_mohm
from telemetry.results import Resistance

# A linear regulator's least drop where no data sheet tells it (common practice, no source).
_DROPOUT_V = Interval(0.25, 0.0, 0.5)
# How far a pack's resistance in a profile may lie from the pack's today (ours: age and cold).
_PROFILE_PART = 0.25

# How a refused resistance of the root says that a regulator holds it.
_HELD = "regulator holds this voltage"
# No switch or diode drops this much (ours).
_HEAD_V = 0.8
# What a lasting step of the load costs beyond the resistance read within seconds, as a part of it:
# a pack goes on relaxing for a minute (ours; 20 + 10 mOhm with 10 s gives a third more at 10 s
# than at 1 s).
_SLOW = Interval(0.25, 0.0, 0.5)

Numbers = Mapping[str, float]
TOTAL = "total"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What the margins start from; mappings go by place, and hold what is known.

    Attributes
    ----------
    lowest_v : mapping
        Lowest voltage under load, V.
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
        Return level of the current of each place, A; ``return_a["total"]`` of the whole.
    no_return : mapping of str
        Why a place (or the total) has no return level.
    gone : frozenset of str
        Packs that gave nothing at landing although they share the load.
    """

    lowest_v: Mapping[str, float] = field(default_factory=dict)
    landing_v: Mapping[str, Interval] = field(default_factory=dict)
    landing_a: Mapping[str, Interval] = field(default_factory=dict)
    usual_a: Mapping[str, float] = field(default_factory=dict)
    peak_a: Mapping[str, Interval] = field(default_factory=dict)
    share: Mapping[str, Interval] = field(default_factory=dict)
    return_a: Mapping[str, Interval] = field(default_factory=dict)
    no_return: Mapping[str, str] = field(default_factory=dict)
    gone: frozenset[str] = frozenset()


class Missing(Exception):
    """Something a case needs is not known; the text says what."""


@dataclass(frozen=True, slots=True)
class Case:
    """A case ready to be worked out: numbers in, voltage and current at a place out."""

    volts: Callable[[Numbers, str], float]
    amps: Callable[[Numbers, str], float | None]
    note: str = ""


class Circuit:
    """The path with everything known of it as named numbers with intervals.

    Names: ``v PLACE`` and ``a PLACE`` at landing, ``r PLACE`` resistance of a pack, of the root
    or of a node's lead, ``rt NODE`` apparent one, ``way PACK`` from inside a pack to the root,
    ``share PACK``, ``peak PLACE``, ``return PLACE``, ``dropout``, ``slow``; in V, A and Ohm.
    """

    def __init__(
        self, aircraft: Aircraft, resistances: Sequence[Resistance], measured: Measured
    ) -> None:
        self.aircraft = aircraft
        self.measured = measured
        self.root = aircraft.root
        self.shared = [p.name for p in aircraft.packs if p.role == "shared"]
        self.present = [p for p in self.shared if p not in measured.gone]
        self.inputs: dict[str, Interval] = {}
        self._notes: dict[str, list[str]] = {}
        self._known = [r for r in resistances if r.mohm is not None]
        self.regulated = aircraft.regulated_v is not None or any(
            r.place == self.root and _HELD in r.refused for r in resistances
        )
        for prefix, values in (
            ("v", measured.landing_v),
            ("a", measured.landing_a),
            ("share", measured.share),
            ("peak", measured.peak_a),
            ("return", measured.return_a),
        ):
            self.inputs |= {f"{prefix} {place}": x for place, x in values.items()}
        self.inputs["slow"] = _SLOW
        if len(aircraft.packs) == 1:
            alone = f"a {aircraft.packs[0].name}"
            if alone not in self.inputs and f"a {TOTAL}" in self.inputs:
                self.inputs[alone] = self.inputs[f"a {TOTAL}"]
        self._add_resistances()

    def _add_resistances(self) -> None:
        aircraft, x = self.aircraft, self.inputs
        for pack in aircraft.packs:
            own = self._measured(pack.name, "source")
            apparent = self._measured(pack.name, "apparent")
            if own is None and apparent is not None and f"share {pack.name}" in x:
                own = _combined(lambda a, s: a / s, apparent, x[f"share {pack.name}"])
            if own is None and apparent is not None and len(aircraft.packs) == 1:
                own = apparent
            if own is None and pack.resistance_mohm is not None:
                told = pack.resistance_mohm / 1000
                own = Interval.around(told, _PROFILE_PART * told)
                self._note(pack.name, f"resistance of {pack.name} from the profile")
            if own is not None:
                x[f"r {pack.name}"] = own
        if self.root is not None:
            whole = self._measured(self.root, "source")
            if whole is None and self.regulated:
                whole = self._droop()
            if whole is not None:
                x[f"r {self.root}"] = whole
        for node in aircraft.nodes:
            own = self._measured(node.name, "branch", node.fed_from)
            if own is None and node.lead is not None and node.name != self.root:
                own = _ohm(lead_mohm(node.lead))
                self._note(node.name, f"lead of {node.name} from the wire table")
            if own is not None and node.name != self.root:
                x[f"r {node.name}"] = own
            if (apparent := self._measured(node.name, "apparent")) is not None:
                x[f"rt {node.name}"] = apparent
                if f"a {node.name}" not in x:
                    self._note(node.name, f"lead of {node.name} judged by the total current")
        for pack in aircraft.packs:
            if (way := self._way(pack.name)) is not None:
                x[f"way {pack.name}"] = way
        drops = [s.dropout_v for s in aircraft.supplies if s.kind == "regulator"]
        told_drops = [d for d in drops if d is not None]
        if told_drops and len(told_drops) == len(drops):
            x["dropout"] = Interval.exact(max(told_drops))
        else:
            x["dropout"] = _DROPOUT_V

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
        inner = x.get(f"r {pack}")
        path = self._measured(self.root, "branch", pack)
        if inner is not None and path is not None:
            return _combined(lambda a, b: a + b, inner, path)
        whole, share = x.get(f"r {self.root}"), x.get(f"share {pack}")
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
        parts = [*self.aircraft.way_up(place, root), *packs]
        notes = [words for p in dict.fromkeys(parts) for words in self._notes.get(p, ())]
        if self.regulated and self._limit_a(packs) is None:
            notes.append("the regulator's current limit is not in the profile")
        if not self.regulated and self._head_v() > _HEAD_V:
            notes.append("the packs lie well above the bus: a regulator not in the profile?")
        return notes

    def _head_v(self) -> float:
        """How far the lowest pack lies above the root at landing, V; 0 where not known."""
        root_v = self.measured.landing_v.get(self.root or "")
        packs = [self.measured.landing_v.get(p) for p in self.present]
        known = [v.value for v in packs if v is not None]
        return min(known) - root_v.value if known and root_v is not None else 0.0

    # Cases

    def case(self, name: str) -> Case:
        """A case by its name; raises ``Missing`` where it cannot be worked out at all.

        Besides the three worst cases "all-packs": the observed peak, carried by all packs.
        """
        if self.root is None:
            raise Missing("the path is not known: the profile names no bus")
        return {
            "pack-lost": self._pack_lost,
            "return-level": lambda: self._all_packs("return"),
            "all-packs": lambda: self._all_packs("peak"),
            "all-stalled": self._all_stalled,
        }[name]()

    def _pack_lost(self) -> Case:
        packs = [p.name for p in self.aircraft.packs if p.name not in self.measured.gone]
        if len(self.aircraft.packs) < 2:
            raise Missing("there is no second pack to carry the load")
        gone = sorted(self.measured.gone)
        # What is lost already is the case itself; nobody asks for two at once.
        losses = [tuple(gone)] if gone else [(pack,) for pack in self.shared]
        centre = {name: value.value for name, value in self.inputs.items()}
        left, why = [], ""
        for lost in losses:
            remaining = [p for p in packs if p not in lost]
            try:
                self._root_v(centre, "peak", remaining)
                left.append(remaining)
            except Missing as missing:
                why = f"without {' and '.join(lost)}: {missing}"
        if not left:
            raise Missing(why)

        def volts(x: Numbers, place: str) -> float:
            root_v = min(self._root_v(x, "peak", remaining) for remaining in left)
            return self._carried(x, place, root_v, "peak")

        note = f"{' and '.join(gone)} gave nothing already" if gone else ""
        return Case(volts, self._flow("peak"), f"not known {why}" if why else note)

    def _all_packs(self, load: str) -> Case:
        def volts(x: Numbers, place: str) -> float:
            return self._carried(x, place, self._root_v(x, load, self.present), load)

        return Case(volts, self._flow(load))

    def _flow(self, load: str) -> Callable[[Numbers, str], float | None]:
        return lambda x, place: x.get(f"{load} {TOTAL if place == self.root else place}")

    def _all_stalled(self) -> Case:
        aircraft, root = self.aircraft, self.root or ""
        siemens: dict[str, float] = {}
        for servo in aircraft.servos:
            if servo.stall_a is None or servo.stall_v is None:
                raise Missing(f"no stall current of {servo.drives} on {servo.node}")
            each = servo.count * servo.stall_a / servo.stall_v
            siemens[servo.node] = siemens.get(servo.node, 0.0) + each
        if not siemens:
            raise Missing("the profile lists no servos")
        for node in aircraft.nodes:
            listed = sum(s.count for s in aircraft.servos_at(node.name))
            if node.servos is not None and listed < node.servos:
                raise Missing(f"only {listed} of {node.servos} servos of {node.name} are listed")
        servo_ohm = {place: 1 / s for place, s in siemens.items()}
        children = {p: aircraft.children(p) for p in [root, *(n.name for n in aircraft.nodes)]}
        packs = self.present
        below = [n.name for n in aircraft.nodes if n.name != root]
        limit = self._limit_a(packs)

        def volts(x: Numbers, place: str) -> float:
            branch = {
                n: self._need(x, f"r {n}", f"the resistance of the lead to {n}") for n in below
            }
            load = load_ohm(root, children, branch, servo_ohm)
            root_v = loaded_v(
                lambda amps: self._supply_v(x, amps, packs), load, self._supply_v(x, 0.0, packs)
            )
            if limit is not None:
                root_v = min(root_v, limit * load)
            reached = place_volts(root, root_v, children, branch, servo_ohm)
            return self._need(reached, place, f"what feeds {place}")

        def amps(x: Numbers, place: str) -> float:
            branch = {n: x[f"r {n}"] for n in below}
            return volts(x, place) / load_ohm(place, children, branch, servo_ohm)

        return Case(volts, amps)

    # Voltages

    def _need(self, x: Numbers, name: str, words: str) -> float:
        if name not in x:
            why = self.measured.no_return.get(name.removeprefix("return "))
            told = name.startswith("return ") and why is not None
            raise Missing(f"{words} is not known" + (f": {why}" if told else ""))
        return x[name]

    def _root_v(self, x: Numbers, load: str, packs: list[str]) -> float:
        amps = self._need(x, f"{load} {TOTAL}", _LOAD_WORDS[load].format("the whole"))
        volts, limit = self._supply_v(x, amps, packs), self._limit_a(packs)
        # Beyond the limit the load is taken as a resistance, left with that part of its voltage.
        return volts if limit is None or amps <= limit else volts * limit / amps

    def _supply_v(self, x: Numbers, amps: float, packs: list[str]) -> float:
        """Voltage of the root at a total current, fed by some of the packs."""
        if not packs:
            raise Missing("no pack is left")
        root = self.root or ""
        if root in packs:
            return self._pack_line(x, root, packs).at(amps)
        if not self.regulated:
            volts = self._unregulated(x, amps, packs)
            try:  # whatever lies between, the root is never above the packs
                return min(volts, together_v(self._pack_lines(x, packs), amps))
            except Missing:
                return volts
        into = together_v(self._pack_lines(x, packs), amps)
        return min(self._regulating(x, packs).at(amps), into - x["dropout"])

    def _unregulated(self, x: Numbers, amps: float, packs: list[str]) -> float:
        root = self.root or ""
        if packs == self.shared and f"r {root}" in x:
            return self._root_line(x).at(amps)
        lines = []
        for pack in packs:
            way = self._need(x, f"way {pack}", f"the resistance from {pack} to {root}")
            if pack in self.shared:
                volts = self._need(x, f"v {root}", f"the voltage of {root} at landing")
                flow = self._need(x, f"a {pack}", f"the current of {pack} at landing")
            else:
                volts, flow = self._need(x, f"v {pack}", f"the voltage of {pack} at landing"), 0.0
            lines.append(Line(volts - self._slow_v(x, packs, flow, way), flow, way))
        return together_v(lines, amps)

    def _slow_v(self, x: Numbers, packs: list[str], amps: float, ohm: float) -> float:
        """What a pack loses besides when it carries a lost pack's mean current for long, V."""
        if packs == self.shared or f"a {TOTAL}" not in x:
            return 0.0
        return x["slow"] * ohm * max(x[f"a {TOTAL}"] / len(packs) - amps, 0.0)

    def _root_line(self, x: Numbers) -> Line:
        root = self.root or ""
        return Line(
            self._need(x, f"v {root}", f"the voltage of {root} at landing"),
            self._need(x, f"a {TOTAL}", "the total current at landing"),
            self._need(x, f"r {root}", f"the resistance of {root} under load"),
        )

    def _regulating(self, x: Numbers, packs: list[str]) -> Line:
        """The regulated root while its regulators hold: one for all packs, or one a pack."""
        line = self._root_line(x)
        shares = [x[f"share {p}"] for p in packs if f"share {p}" in x]
        if len(self.aircraft.feeders(self.root or "")) == 1 or len(shares) < len(packs):
            return line
        carried = min(1.0, sum(shares))
        if carried <= 0:
            return line
        if self.measured.gone:  # at landing the same regulators carried it as in the case
            return Line(line.volts, line.amps, line.ohm / carried)
        return Line(line.open_v, 0.0, line.ohm / carried)

    def _pack_lines(self, x: Numbers, packs: list[str]) -> list[Line]:
        return [self._pack_line(x, pack, packs) for pack in packs]

    def _pack_line(self, x: Numbers, pack: str, packs: list[str]) -> Line:
        flow = x.get(f"a {pack}")
        if flow is None:
            if pack in self.shared:
                raise Missing(f"the current of {pack} at landing is not known")
            flow = 0.0
        volts = self._need(x, f"v {pack}", f"the voltage of {pack} at landing")
        ohm = self._need(x, f"r {pack}", f"the resistance of {pack}")
        return Line(volts - self._slow_v(x, packs, flow, ohm), flow, ohm)

    def _limit_a(self, packs: list[str]) -> float | None:
        """Current limit of the supplies that these packs feed, together; None if not told."""
        aircraft, total = self.aircraft, 0.0
        for name in aircraft.feeders(self.root or ""):
            supply = aircraft.supply(name)
            if supply is None or supply.limit_a is None:
                return None
            if any(aircraft.way_up(name, p) for p in packs):
                total += supply.limit_a
        return total if total > 0 else None

    def _carried(self, x: Numbers, place: str, root_v: float, load: str) -> float:
        """Voltage of a place when the root has a voltage and the load its currents, V."""
        root = self.root or ""
        if place == root:
            return root_v
        volts = self._need(x, f"v {place}", f"the voltage of {place} at landing")
        fall = self._need(x, f"v {root}", f"the voltage of {root} at landing") - root_v
        way = self.aircraft.way_up(place, root)
        if not way:
            raise Missing(f"what feeds {place} is not known")
        return volts - fall - sum(self._more_drop(x, node, load) for node in way[:-1])

    def _more_drop(self, x: Numbers, node: str, load: str) -> float:
        """How much more than at landing the lead to a node takes, V."""
        if f"r {node}" in x and f"a {node}" in x:
            more = self._need(x, f"{load} {node}", _LOAD_WORDS[load].format(node)) - x[f"a {node}"]
            return x[f"r {node}"] * more
        apparent = self._need(x, f"rt {node}", f"the resistance of the lead to {node}")
        before = self._need(x, f"a {TOTAL}", "the total current at landing")
        return apparent * (x[f"{load} {TOTAL}"] - before)


_LOAD_WORDS = {
    "peak": "the highest current of {}",
    "return": "the return level of the current of {}",
}


def _ohm(mohm: Interval) -> Interval:
    return Interval(mohm.value / 1000, mohm.low / 1000, mohm.high / 1000)


def _combined(of: Callable[[float, float], float], a: Interval, b: Interval) -> Interval:
    return propagate(lambda x: {"r": of(x["a"], x["b"])}, {"a": a, "b": b})["r"]
