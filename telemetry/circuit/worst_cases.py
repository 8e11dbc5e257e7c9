"""The path of one flight as a circuit with numbers, and the three worst cases solved on it.

See :mod:`telemetry.circuit.margins` for the cases. A case is a plain function of the named numbers
that :mod:`telemetry.circuit.known` gathers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from telemetry.circuit.known import DROPOUT, SLOW, TOTAL, YIELDS, Input, Known
from telemetry.circuit.network import Line, load_ohm, loaded_v, place_volts, together_v

Numbers = Mapping[Input, float]
# Currents under load that a case can have: the highest seen, the one that many flights reach once.
Load = Literal["peak", "return"]
# Part of a load at which the voltage is asked a second time, for its slope (heuristic).
_NEAR = 0.9


class Missing(Exception):
    """Something a case needs is not known; the text says what."""


@dataclass(frozen=True, slots=True)
class CircuitCase:
    """A case ready to be worked out.

    Attributes
    ----------
    volts : callable
        Numbers in; the root is solved once for them, and what comes out tells each place's voltage.
    amps : callable
        Numbers and a place in, its current out.
    note : str
    """

    volts: Callable[[Numbers], Callable[[str], float]]
    amps: Callable[[Numbers, str], float | None]
    note: str = ""


class Circuit(Known):
    """The path with everything known of it, and the cases solved on it."""

    def case(self, name: str) -> CircuitCase:
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

    def _pack_lost(self) -> CircuitCase:
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
                self.root_v(centre, "peak", remaining)
                left.append(remaining)
            except Missing as missing:
                why = f"without {' and '.join(lost)}: {missing}"
        if not left:
            raise Missing(why)

        def volts(x: Numbers) -> Callable[[str], float]:
            try:
                read_v = self.root_v(x, "peak", self.present)
            except Missing:
                read_v = None
            fed = [self._yielding(x, remaining, read_v) for remaining in left]

            def at(place: str) -> float:
                lost_v = min(self._carried(load, place, root_v, "peak") for load, root_v in fed)
                return lost_v if gone else lost_v + self._not_reached_v(x, place, read_v)

            return at

        note = f"{' and '.join(gone)} gave nothing already" if gone else ""
        return CircuitCase(volts, self._flow("peak"), f"not known {why}" if why else note)

    def _not_reached_v(self, x: Numbers, place: str, read_v: float | None) -> float:
        """How far above the voltage that the state at landing lets expect a place stayed, V.

        With all packs the same peak was carried, the root at ``read_v``, and the place was read
        through it: it fell less where the packs were fuller at that moment, or where not all peaks
        came together. A reading below what is expected has another cause than this load, and
        changes nothing here.
        """
        seen_v = self.measured.lowest_v.get(place)
        if seen_v is None or read_v is None:
            return 0.0
        try:
            return max(seen_v - self._carried(x, place, read_v, "peak"), 0.0)
        except Missing:
            return 0.0

    def _yielding(
        self, x: Numbers, packs: list[str], read_v: float | None
    ) -> tuple[Numbers, float]:
        """The load, which falls with the voltage, and the root's when these packs carry the peak.

        The peak was read while all packs gave, the root at ``read_v``. Near it the voltage is a
        straight line of the load.
        """
        root_v = self.root_v(x, "peak", packs)
        if read_v is None or not (x[YIELDS] > 0.0 and root_v < read_v):
            return x, root_v
        steep_v = (self.root_v(_less(x, _NEAR), "peak", packs) - root_v) / (1.0 - _NEAR)
        yields_v = max(steep_v, 0.0) * x[YIELDS]
        root_v = (root_v + yields_v) / (1.0 + yields_v / read_v)
        return _less(x, 1.0 - x[YIELDS] * (1.0 - root_v / read_v)), root_v

    def _all_packs(self, load: Load) -> CircuitCase:
        """All packs that are there carry the load."""

        def volts(x: Numbers) -> Callable[[str], float]:
            root_v = self.root_v(x, load, self.present)
            return lambda place: self._carried(x, place, root_v, load)

        return CircuitCase(volts, self._flow(load))

    def _flow(self, load: Load) -> Callable[[Numbers, str], float | None]:
        return lambda x, place: x.get(Input(load, TOTAL if place == self.root else place))

    def _all_stalled(self) -> CircuitCase:
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
        limit = self.limit_a(packs)

        def volts(x: Numbers) -> Callable[[str], float]:
            branch = {n: self._need(x, Input("ohm", n)) for n in below}
            load = load_ohm(root, children, branch, servo_ohm)
            root_v = loaded_v(
                lambda amps: self.supply_v(x, amps, packs), load, self.supply_v(x, 0.0, packs)
            )
            if limit is not None:
                root_v = min(root_v, limit * load)
            reached = place_volts(root, root_v, children, branch, servo_ohm)

            def at(place: str) -> float:
                if place not in reached:
                    raise Missing(f"what feeds {place} is not known")
                return reached[place]

            return at

        def amps(x: Numbers, place: str) -> float:
            branch = {n: x[Input("ohm", n)] for n in below}
            return volts(x)(place) / load_ohm(place, children, branch, servo_ohm)

        return CircuitCase(volts, amps)

    # Voltages

    def _need(self, x: Numbers, name: Input) -> float:
        if name not in x:
            why = self.measured.no_return.get(name.place) if name.kind == "return" else None
            words = f"{self._words(name)} is not known"
            raise Missing(words if why is None else f"{words}: {why}")
        return x[name]

    def _words(self, name: Input) -> str:
        """What a number is."""
        kind, place = name
        whole = place == TOTAL
        if kind == "ohm" and any(p.name == place for p in self.aircraft.packs):
            return f"the resistance of {place}"
        if kind == "ohm" and place == self.root:
            return f"the resistance of {place} under load"
        return {
            "volts": f"the voltage of {place} at landing",
            "amps": "the total current at landing"
            if whole
            else f"the current of {place} at landing",
            "way": f"the resistance from {place} to {self.root}",
            "peak": f"the highest current of {'the whole' if whole else place}",
            "return": f"the return level of the current of {'the whole' if whole else place}",
        }.get(kind, f"the resistance of the lead to {place}")

    def root_v(self, x: Numbers, load: Load, packs: list[str]) -> float:
        """Voltage of the root under a load, V; beyond the limit the load yields."""
        amps = self._need(x, Input(load, TOTAL))
        volts, limit = self.supply_v(x, amps, packs), self.limit_a(packs)
        # Beyond the limit the load is taken as a resistance, left with that part of its voltage.
        return volts if limit is None or amps <= limit else volts * limit / amps

    def supply_v(self, x: Numbers, amps: float, packs: list[str]) -> float:
        """Voltage of the root at a total current, fed by some of the packs."""
        if not packs:
            raise Missing("no pack is left")
        root = self.root or ""
        if root in packs:
            return self.pack_line(x, root, packs).at(amps)
        if not self.regulated:
            volts = self._unregulated(x, amps, packs)
            try:  # whatever lies between, the root is never above the packs
                return min(volts, together_v(self._pack_lines(x, packs), amps))
            except Missing:
                return volts
        into = together_v(self._pack_lines(x, packs), amps)
        return min(self.regulating_line(x, packs).at(amps), into - x[DROPOUT])

    def _unregulated(self, x: Numbers, amps: float, packs: list[str]) -> float:
        root = self.root or ""
        if packs == self.shared and Input("ohm", root) in x:
            return self._root_line(x).at(amps)
        lines = []
        for pack in packs:
            way = self._need(x, Input("way", pack))
            if pack in self.shared:
                volts = self._need(x, Input("volts", root))
                flow = self._need(x, Input("amps", pack))
            else:
                volts, flow = (
                    self._need(x, Input("volts", pack)),
                    0.0,
                )
            lines.append(Line(volts - self._slow_v(x, packs, flow, way), flow, way))
        return together_v(lines, amps)

    def _slow_v(self, x: Numbers, packs: list[str], amps: float, ohm: float) -> float:
        """What a pack loses besides when it carries a lost pack's mean current for long, V."""
        if packs == self.shared or Input("amps", TOTAL) not in x:
            return 0.0
        return x[SLOW] * ohm * max(x[Input("amps", TOTAL)] / len(packs) - amps, 0.0)

    def _root_line(self, x: Numbers) -> Line:
        root = self.root or ""
        return Line(
            self._need(x, Input("volts", root)),
            self._need(x, Input("amps", TOTAL)),
            self._need(x, Input("ohm", root)),
        )

    def regulating_line(self, x: Numbers, packs: list[str]) -> Line:
        """The regulated root while its regulators hold: one for all packs, or one a pack."""
        line = self._root_line(x)
        shares = [x[Input("share", p)] for p in packs if Input("share", p) in x]
        if len(self.aircraft.feeders(self.root or "")) == 1 or len(shares) < len(packs):
            return line
        carried = min(1.0, sum(shares))
        if carried <= 0:
            return line
        if self.measured.gone:  # at landing the same regulators carried it as in the case
            return Line(line.volts, line.amps, line.ohm / carried)
        return Line(line.open_v, 0.0, line.ohm / carried)

    def _pack_lines(self, x: Numbers, packs: list[str]) -> list[Line]:
        return [self.pack_line(x, pack, packs) for pack in packs]

    def pack_line(self, x: Numbers, pack: str, packs: list[str]) -> Line:
        """A pack under load: known point and resistance; Missing where that is unknown."""
        flow = x.get(Input("amps", pack))
        if flow is None:
            if pack in self.shared:
                raise Missing(f"the current of {pack} at landing is not known")
            flow = 0.0
        volts = self._need(x, Input("volts", pack))
        ohm = self._need(x, Input("ohm", pack))
        return Line(volts - self._slow_v(x, packs, flow, ohm), flow, ohm)

    def _carried(self, x: Numbers, place: str, root_v: float, load: Load) -> float:
        """Voltage of a place when the root has a voltage and the load its currents, V."""
        root = self.root or ""
        if place == root:
            return root_v
        volts = self._need(x, Input("volts", place))
        fall = self._need(x, Input("volts", root)) - root_v
        way = self.ways.get(place)
        if not way:
            raise Missing(f"what feeds {place} is not known")
        return volts - fall - sum(self._more_drop(x, node, load) for node in way[:-1])

    def _more_drop(self, x: Numbers, node: str, load: Load) -> float:
        """How much more than at landing the lead to a node takes, V."""
        if Input("ohm", node) in x and Input("amps", node) in x:
            more = self._need(x, Input(load, node)) - x[Input("amps", node)]
            return x[Input("ohm", node)] * more
        apparent = self._need(x, Input("apparent", node))
        before = self._need(x, Input("amps", TOTAL))
        return apparent * (x[Input(load, TOTAL)] - before)


def _less(x: Numbers, part: float) -> Numbers:
    """The numbers with this part of every highest current."""
    return {key: part * v if key.kind == "peak" else v for key, v in x.items()}
