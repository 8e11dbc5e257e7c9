"""Write a profile from the columns of a log, and show a power path as a tree of text."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Callable

from telemetry.aircraft import Aircraft, Lead, Limits, Node, Pack, Servo, infer_path
from telemetry.aircraft.profile.reading import VERSION
from telemetry.model.channels import PlaceKind, Quantity, kind_of_place
from telemetry.model.log import Log

_HEAD = """\
# Power path of {name}, {made}.
#
# Lines that begin with "# " and hold a key are examples with invented values: put in what is
# true of this aircraft and take the # away. What stays out counts as not known.
# Volts, amperes, metres, milliohms. Places are named as in the log.
# Dates: since is the first day something holds, until the first day it no longer does.
"""

_PACK = """\
# chemistry = "liion"             # lipo, liion, life or nimh
# cells = 2                       # in series
# parallel = 1
# capacity_mah = 5000
# role = "shared"                 # or standby; said here, a silent pack can be judged
# resistance_mohm = 30.0
# labels = [{{ label = "A{number}", since = 2026-01-01 }}]   # which physical pack
# lead = {{ awg = 14, length_m = 0.3, connectors = [{{ kind = "panel" }}] }}
"""

_NODE = """\
# lead = { mm2 = 1.5, length_m = 1.2, connectors = [{ kind = "panel", pins = 2 }] }
# restart_v = 3.5                 # from the data sheet of its electronics
# kind = "receiver"               # or node, where its name does not say it
"""

_SUPPLY = """\
# A switch, diode or regulator between packs and bus, one block each:
# [[supplies]]
# name = "regulator"
# kind = "regulator"              # or switch, diode
# fed_from = [{packs}]
# set_point_v = 7.4               # regulators only
# limit_a = 20.0
"""

_SERVO = """\
# Servos, one block for each output. When an output changes over, end the old block with until
# and add one with since:
# [[servos]]
# node = {node}
# output = 1
# drives = {surface}
# stall_a = 4.0                   # of one servo, from the data sheet ...
# stall_v = 7.4                   # ... at this voltage
# moving_a = 0.6
# until = 2026-05-14
"""


# Where there is no log: main unit, two packs, a node in each wing and in the tail (common practice,
# no source).
_USUAL = Aircraft(
    packs=(Pack(name="pack 1"), Pack(name="pack 2")),
    bus="bus",
    nodes=(
        Node(name="left wing", fed_from="bus", mirror="right wing"),
        Node(name="right wing", fed_from="bus", mirror="left wing"),
        Node(name="tail", fed_from="bus"),
    ),
)


def new_profile(name: str, log: Log | None = None) -> str:
    """A commented profile made from the columns found in a log, or to be filled in by hand.

    Parameters
    ----------
    name : str
        Name of the aircraft.
    log : Log, optional
        Without one the usual layout of a main unit with three nodes is written down.

    Returns
    -------
    str
        TOML that :func:`telemetry.aircraft.profile.read_profile` accepts as it stands: packs, bus
        and nodes as the log has them, and everything a log cannot tell as comments to be filled in.
    """
    found = _USUAL if log is None else infer_path(log)
    alone = [p.name for p in found.packs]
    feed, bus = found.root, found.bus
    if [feed] != alone and bus is None:
        bus = "bus"
    feed = bus or feed or "bus"
    made = "the usual layout of main unit and nodes: make it yours"
    if log is not None:
        made = f"made from the columns of {_one_line(log.provenance.file)}"
    out = [_HEAD.format(name=_one_line(name), made=made)]
    top = [f"version = {VERSION}".ljust(34) + "# of the keys in this file", f"name = {_text(name)}"]
    if bus is not None:
        columns = _columns(log, bus) or "# the place where the packs join"
        top.append(f"bus = {_text(bus)}".ljust(34) + columns)
    if found.regulator is not None:
        top.append(
            f"regulator = {_text(found.regulator)}".ljust(34) + _columns(log, found.regulator)
        )
    top.append("# regulated_v = 7.4".ljust(34) + "# set-point of the bus, where it is regulated")
    out.append("\n".join(top) + "\n")
    for number, pack in enumerate(found.packs, 1):
        out.append(f"[[packs]]\n{_named(pack.name, log)}\n{_PACK.format(number=number)}")
    packs = ", ".join(_text(p.name) for p in found.packs) or '"pack 1"'
    out.append(_SUPPLY.format(packs=packs))
    for node in found.nodes:
        lines = [f"[[nodes]]\n{_named(node.name, log)}", f"fed_from = {_text(feed)}"]
        if node.mirror is not None:
            lines.append(f"mirror = {_text(node.mirror)}")
        out.append("\n".join(lines) + "\n" + _NODE)
    moved = () if log is None else log.places(Quantity.CONTROL)
    surfaces = [p for p in moved if kind_of_place(p) is PlaceKind.SURFACE] or ["left aileron"]
    carrier = found.nodes[0].name if found.nodes else feed
    out.append(_SERVO.format(node=_text(carrier), surface=_text(surfaces[0])))
    if len(surfaces) > 1:
        out[-1] += f"# Surfaces in this log: {_one_line(', '.join(surfaces))}\n"
    limits = ["# Limits: defaults of the review; change what your data sheets say.", "[limits]"]
    for key, field in Limits.model_fields.items():
        value = 6.0 if field.default is None else field.default
        limits.append(f"# {key} = {value:g}".ljust(34) + f"# {field.description}")
    out.append("\n".join(limits) + "\n")
    return "\n".join(out)


def _named(name: str, log: Log | None) -> str:
    return (f"name = {_text(name)}".ljust(34) + _columns(log, name)).rstrip()


def _columns(log: Log | None, place: str) -> str:
    if log is None:
        return ""
    columns = [_one_line(c.column) for c in log.channels if c.place == place]
    return "# columns: " + "; ".join(columns) if columns else ""


def _one_line(text: str) -> str:
    """Text fit for a comment: no line ends, no control characters."""
    return "".join(c if c.isprintable() else " " for c in text)


def _text(value: str) -> str:
    """A TOML basic string; JSON's escapes are a part of TOML's, but for DEL."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def path_tree(aircraft: Aircraft, *, width: int = 80) -> str:
    """The power path as a tree in plain text.

    Parameters
    ----------
    aircraft : Aircraft
        As read (servos and labels with their dates) or as of one day.
    width : int
        Longest line, characters.

    Returns
    -------
    str
        The root with what feeds it, then what hangs on it, down to the servos.
    """
    lines = textwrap.wrap(aircraft.name, width) or [""]
    top = aircraft.root
    if top is None:
        roots = [p.name for p in aircraft.packs]
        roots += [n.name for n in aircraft.nodes if n.fed_from is None]
    else:
        roots = [top]
    for name in roots:
        lines += textwrap.wrap(f"{name}{_facts(aircraft, name)}", width, subsequent_indent="  ")
        lines += _branches(aircraft, name, "", width, frozenset({name}))
    return "\n".join(lines) + "\n"


def _branches(
    aircraft: Aircraft, place: str, indent: str, width: int, above: frozenset[str]
) -> list[str]:
    """The lines below a place: what feeds it (first), its servos, the nodes it feeds."""
    branches: list[tuple[str, Callable[[str], list[str]]]] = []

    def below(name: str) -> Callable[[str], list[str]]:
        return lambda deeper: _branches(aircraft, name, deeper, width, above | {name})

    for name in aircraft.feeders(place):
        if name not in above and aircraft.node(name) is None and name != aircraft.bus:
            branches.append((f"from {name}{_facts(aircraft, name)}", below(name)))
    for servo in aircraft.servos_at(place):
        branches.append((_servo(servo), lambda _: []))
    for name in aircraft.children(place):
        if name not in above:
            branches.append((f"{name}{_facts(aircraft, name)}", below(name)))
    lines = []
    for number, (text, deeper) in enumerate(branches, 1):
        last = number == len(branches)
        room = max(width - len(indent) - 4, 20)
        first, *rest = textwrap.wrap(text, room)
        inner = indent + ("    " if last else "|   ")
        lines.append(f"{indent}{'`' if last else '|'}-- {first}")
        lines += [f"{inner}{line}" for line in rest]
        lines += deeper(inner)
    return lines


def _facts(aircraft: Aircraft, place: str) -> str:
    """What is known of a place, as ``: fact, fact``."""
    facts: list[str] = []
    pack, supply, node = aircraft.pack(place), aircraft.supply(place), aircraft.node(place)
    if pack is not None:
        if pack.chemistry is not None:
            facts.append(pack.chemistry)
        if pack.cells is not None:
            facts.append(f"{pack.cells}s" + (f"{pack.parallel}p" if pack.parallel else ""))
        if pack.capacity_mah is not None:
            facts.append(f"{pack.capacity_mah:g} mAh")
        facts.append(pack.role)
        facts += [f"label {x.label}{_dates(x.since, x.until)}" for x in pack.labels]
    if supply is not None:
        facts.append(supply.kind)
        if supply.set_point_v is not None:
            facts.append(f"{supply.set_point_v:g} V")
        if supply.limit_a is not None:
            facts.append(f"at most {supply.limit_a:g} A")
    elif aircraft.regulated_v is not None and place == (aircraft.bus or aircraft.regulator):
        facts.append(f"regulated to {aircraft.regulated_v:g} V")
    lead = aircraft.lead(place)
    if lead is not None:
        facts.append(_lead(lead))
    if node is not None:
        if node.kind == "receiver":
            facts.append(node.kind)
        if node.servos is not None and not aircraft.servos_at(place):
            facts.append(f"{node.servos} servos")
        if (mirror := aircraft.mirror(place)) is not None:
            facts.append(f"mirror of {mirror}")
    return ": " + ", ".join(facts) if facts else ""


def _lead(lead: Lead) -> str:
    gauge = f"AWG {lead.awg}" if lead.awg is not None else f"{lead.mm2:g} mm2"
    many = f"{lead.wires} x " if lead.wires > 1 else ""
    plugs = {0: "", 1: " with 1 connector"}.get(
        len(lead.connectors), f" with {len(lead.connectors)} connectors"
    )
    return f"lead {many}{gauge} {lead.length_m:g} m{plugs}"


def _servo(servo: Servo) -> str:
    many = f"{servo.count} x " if servo.count > 1 else ""
    stall = f", stall {servo.stall_a:g} A at {servo.stall_v:g} V" if servo.stall_a else ""
    dates = _dates(servo.since, servo.until)
    return f"output {servo.output}: {many}{servo.drives}{stall}{dates}"


def _dates(since: object, until: object) -> str:
    words = [f"{word} {day}" for word, day in (("since", since), ("until", until)) if day]
    return f" ({' '.join(words)})" if words else ""
