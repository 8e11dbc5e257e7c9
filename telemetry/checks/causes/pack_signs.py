"""What one log shows for or against a fault of packs, their paths and their regulator."""

from __future__ import annotations

from telemetry.aircraft import CELL_V
from telemetry.checks.causes.signs import Sign
from telemetry.checks.draft import FindingDraft, clock
from telemetry.checks.facts import FlightFacts
from telemetry.checks.packs.sources import COLD_C, MILD_C
from telemetry.measure.charge_state import guess_pack
from telemetry.model.channels import PlaceKind
from telemetry.results import Droop, DroopKind, OutSign, PackState, Resistance

# Most of a fall is lost in the packs, or on the way (heuristic).
_MOST, _LITTLE = 0.6, 0.4
# Rest voltages of a pair that are alike (heuristic: sensors of 1 to 2 %).
_ALIKE_V = 0.01
# One pack's resistance clearly above the other's, and alike: their ratio (heuristic).
_WEAKER, _ALIKE = 1.3, 1.25
# What comes slowly of an excess over what comes at once: of cells a quarter to nearly as much again
# (from memory), of copper nothing; below the last the interval is too wide to tell (heuristic).
_CELLS, _COPPER, _UNSURE = 0.1, 0.2, -0.3
# Paths of a pair differ by so much, mOhm (heuristic: two plugs).
_PATH_MOHM = 8.0
# A pack that began with less charge than the other, as a part of its voltage; one that is weak, by
# the part that load takes, % (heuristic).
_LOW, _WEAK_PCT = 0.035, 12.0
# A full cell at rest has at least so much, V (common practice, no source).
_FULL_V = {"lipo": 4.10, "liion": 4.08, "life": 3.30, "nimh": 1.33}
# A cell may read a little above full, V; a counter that began with this much was not set back, mAh
# (heuristic).
_OVER_V, _CARRIED_MAH = 0.02, 50.0
# A regulator this warm may have limited itself; one this cool did not, degC (heuristic).
_HOT_C, _COOL_C = 80.0, 60.0


def in_packs(facts: FlightFacts, _draft: FindingDraft) -> Sign | None:
    """Whether most of the resistance up to the bus is that of the packs."""
    known = [r for r in facts.flight.resistances if r.kind == "source" and r.mohm]
    bus = next((r.mohm for r in known if r.place == facts.aircraft.root), None)
    packs = [r.mohm for r in known if facts.aircraft.kind(r.place) is PlaceKind.PACK and r.mohm]
    if bus is None or not packs or len(packs) < len(facts.aircraft.packs):
        return None
    together = 1 / sum(1 / mohm for mohm in packs)
    part = together / bus
    words = f"of {bus:.0f} mOhm up to the bus the packs have {together:.0f}"
    return Sign(part >= _MOST, words) if part >= _MOST or part <= _LITTLE else None


def pack_low(facts: FlightFacts, _draft: FindingDraft) -> Sign | None:
    """Whether a pack was run down or below its floor under load."""
    low = [x.place for x in facts.flight.low if x.is_floor]
    low += [s.place for s in facts.flight.packs if s.run_down and s.place not in low]
    if low:
        return Sign(True, f"{', '.join(low)} was below its floor")
    left = [s.landing_pct for s in facts.flight.packs if s.landing_pct is not None]
    if left and min(left) > facts.limits.reserve_pct:
        return Sign(False, f"the packs landed with {min(left):.0f} % of their charge or more")
    return None


def pack_at_fault(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether a pack is weak, low or empty by itself; of a place that the packs feed."""
    if facts.aircraft.kind(draft.place or "") is PlaceKind.PACK:
        return None
    rests = [s for s in facts.flight.packs if s.rest_v is not None and s.role == "shared"]
    low = min(rests, key=lambda s: s.rest_v or 0.0, default=None)
    high = max(rests, key=lambda s: s.rest_v or 0.0, default=None)
    if low and high and (low.rest_v or 0.0) < (1 - _LOW) * (high.rest_v or 0.0):
        words = f"{low.place} began at {low.rest_v:.2f} V, {high.place} at {high.rest_v:.2f} V"
        return Sign(True, words)
    weak = max(facts.flight.drops, key=lambda d: d.low_drop_pct, default=None)
    if weak is not None and weak.low_drop_pct >= _WEAK_PCT:
        return Sign(True, f"{weak.place} loses {weak.drop_pct:.0f} % of its voltage under load")
    return None


def knee(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether this pack, or any where it is of none, fell ever faster at the end of its charge."""
    own = facts.aircraft.kind(draft.place or "") is PlaceKind.PACK
    for k in facts.flight.knees:
        if not own or k.place == draft.place:
            return Sign(True, f"{k.place} fell ever faster from {clock(k.start_s)} on")
    return None


def full_of_a_kind(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether its voltage at rest is that of a full pack of some chemistry and cells."""
    state = _state(facts, draft.place)
    if state is None or state.rest_v is None:
        return None
    rest_v = state.rest_v
    full = [
        (kind, n)
        for kind, n in guess_pack(rest_v).candidates
        if _FULL_V[kind] <= rest_v / n <= CELL_V[kind][0] + _OVER_V
    ]
    if full:
        kind, n = full[0]
        return Sign(True, f"{rest_v:.2f} V at rest is a full pack of {n} {kind} cells")
    return Sign(False, f"{rest_v:.2f} V at rest is no full pack of any usual kind")


def counter_carried(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether its counter began with charge already drawn, or at zero."""
    state = _state(facts, draft.place)
    if state is None or state.counter_start_mah is None:
        return None
    carried = state.counter_start_mah >= _CARRIED_MAH
    return Sign(carried, f"its counter began at {state.counter_start_mah:.0f} mAh")


def rest_apart(facts: FlightFacts, _draft: FindingDraft) -> Sign | None:
    """Whether the packs of a pair rested at unlike voltages."""
    rest = [(s.place, s.rest_v) for s in facts.flight.packs if s.rest_v is not None]
    if len(rest) != 2:
        return None
    (a, a_v), (b, b_v) = rest
    words = f"at rest {a} had {a_v:.2f} V, {b} {b_v:.2f} V"
    return Sign(abs(a_v - b_v) > _ALIKE_V * max(a_v, b_v), words)


def lies_below(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether under load its voltage lies below the other pack's: a diode then holds it off."""
    own = _state(facts, draft.place)
    others = [s for s in facts.flight.packs if s.place != draft.place and s.loaded_v is not None]
    if own is None or own.loaded_v is None or len(others) != 1:
        return None
    other_v = others[0].loaded_v or 0.0
    words = f"under load it had {own.loaded_v:.2f} V, {others[0].place} {other_v:.2f} V"
    return Sign(own.loaded_v < other_v, words)


def path_apart(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the path of this pack to the bus has clearly more resistance than the other's."""
    paths = [
        r
        for r in facts.flight.resistances
        if r.kind == "branch" and r.mohm is not None and facts.aircraft.pack(r.parent or "")
    ]
    own = next((r for r in paths if r.parent == draft.place), None)
    other = next((r for r in paths if r.parent != draft.place), None)
    if own is None or other is None or own.low_mohm is None or other.high_mohm is None:
        return None
    words = f"its path to the bus has {own.mohm:.0f} mOhm, the other's {other.mohm:.0f}"
    if own.low_mohm > other.high_mohm + _PATH_MOHM:
        return Sign(True, words)
    most = (own.high_mohm or 0.0) - (other.low_mohm or 0.0)
    return Sign(False, words) if most < _PATH_MOHM else None


def relaxes(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether what a pack has more than the other comes as slowly as the resistance of cells.

    Cells answer a step of the current for seconds; copper, a plug or a switch answers at once.
    """
    twins = next((t for t in facts.flight.twins if t.place == draft.place), None)
    if twins is None or twins.low_slow_part is None or twins.high_slow_part is None:
        return None
    if twins.low_slow_part > _CELLS:
        return Sign(True, "its excess grows for seconds after a load, as that of cells does")
    if twins.high_slow_part < _COPPER and twins.low_slow_part > _UNSURE:
        return Sign(False, "its excess is there at once, as that of a plug, lead or switch is")
    return None


def source_apart(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether its own resistance lies clearly above the other pack's.

    Of a finding on that resistance it tells nothing: cells and plug raise it alike.
    """
    if draft.code == "source-resistance-high":
        return None
    own, others = _sources(facts, draft)
    if own is None or len(others) != 1 or not own.mohm or not others[0].mohm:
        return None
    other = others[0]
    words = f"{own.place} has {own.mohm:.0f} mOhm, {other.place} {other.mohm:.0f}"
    return Sign((own.low_mohm or 0.0) > _WEAKER * (other.high_mohm or own.mohm), words)


def alike_in_all(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether all packs have about the same resistance: two plugs seldom wear alike.

    Of what a pack holds it tells nothing.
    """
    if draft.code == "pack-weak":
        return None
    own, others = _sources(facts, draft)
    if own is None or not own.mohm or not others:
        return None
    mohms = [own.mohm, *(r.mohm or 0.0 for r in others)]
    if max(mohms) > _ALIKE * min(mohms):
        return None
    return Sign(True, f"all packs have about as much: {', '.join(f'{m:.0f}' for m in mohms)} mOhm")


def above_sound(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether it has more resistance than a sound pack of the profile's kind."""
    drop = next((d for d in facts.flight.drops if d.place == draft.place), None)
    if drop is None or drop.sound_mohm is None:
        return None
    words = f"a sound pack of its kind has {drop.sound_mohm:.0f} mOhm at most"
    return Sign(drop.low_mohm > drop.sound_mohm, words)


def cold_day(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the temperature logged was that of cold packs; absent where it was mild."""
    celsius = _celsius(facts, draft)
    if celsius is None or COLD_C <= celsius < MILD_C:
        return None
    return Sign(celsius < COLD_C, f"{celsius:.0f} degC was logged")


def way_open(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether a pack that gave nothing rested above the bus."""
    return _out_sign(facts, draft, OutSign.OPEN, "it rested above the bus: its way was open")


def own_dead(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the voltage of a pack that gave nothing fell away."""
    return _out_sign(facts, draft, OutSign.DEAD, "its own voltage fell away")


def _out_sign(facts: FlightFacts, draft: FindingDraft, sign: OutSign, words: str) -> Sign | None:
    outs = (o.sign for o in facts.flight.pack_outs if o.place == draft.place)
    return Sign(True, words) if sign in outs else None


def cells_told(facts: FlightFacts, draft: FindingDraft) -> Sign | None:
    """Whether the profile tells chemistry and cells of the pack."""
    pack = facts.aircraft.pack(draft.place or "")
    told = pack is not None and pack.chemistry is not None and pack.cells is not None
    return Sign(told, f"its cells are {'told by the profile' if told else 'guessed'}")


def regulated(facts: FlightFacts, _draft: FindingDraft) -> Sign | None:
    """Whether a regulator holds the bus."""
    told = [r.regulated for r in facts.flight.resistances if r.regulated is not None]
    if facts.aircraft.regulated_v is not None:
        return Sign(True, f"a regulator set to {facts.aircraft.regulated_v:g} V holds the bus")
    if (d := _droop(facts)) is not None:
        return Sign(True, f"at light load the bus held {d.held_v:.2f} V below its packs")
    if not told:
        return None
    if any(told):
        return Sign(True, "the bus does not follow its packs: a regulator holds it")
    return Sign(False, "the bus follows its packs: no regulator holds it")


def in_limit(facts: FlightFacts, _draft: FindingDraft) -> Sign | None:
    """Whether the bus fell at one and the same current, which it did not exceed."""
    d = _droop(facts)
    if d is None or d.kind is not DroopKind.LIMIT:
        return None
    return Sign(True, f"the bus fell whenever it took {d.current_a:.1f} A, and never took more")


def ran_hot(facts: FlightFacts, _draft: FindingDraft) -> Sign | None:
    """Whether the temperature logged as it fell was that of a regulator that limits itself."""
    d = _droop(facts)
    if d is None or d.temperature_c is None:
        return None
    words = f"{d.temperature_c:.0f} degC was logged as it fell"
    if _COOL_C < d.temperature_c < _HOT_C:
        return None
    return Sign(d.temperature_c >= _HOT_C, words)


def dropped_out(facts: FlightFacts, _draft: FindingDraft) -> Sign | None:
    """Whether the bus followed its packs down."""
    d = _droop(facts)
    if d is None or d.kind is DroopKind.UNKNOWN:
        return None
    follows = d.kind is DroopKind.DROP_OUT
    how = "followed its packs down" if follows else "fell while its packs held"
    return Sign(follows, f"the bus {how}: the packs had {d.pack_v:.2f} V then")


def _droop(facts: FlightFacts) -> Droop | None:
    return next(iter(facts.flight.droops), None)


def _state(facts: FlightFacts, place: str | None) -> PackState | None:
    return next((s for s in facts.flight.packs if s.place == place), None)


def _sources(facts: FlightFacts, draft: FindingDraft) -> tuple[Resistance | None, list[Resistance]]:
    """The source resistance of a pack, and those of the others."""
    known = [
        r
        for r in facts.flight.resistances
        if r.kind == "source" and r.mohm and facts.aircraft.kind(r.place) is PlaceKind.PACK
    ]
    own = next((r for r in known if r.place == draft.place), None)
    return own, [r for r in known if r is not own]


def _celsius(facts: FlightFacts, draft: FindingDraft) -> float | None:
    """Temperature of the pack, or the lowest that was logged at the start, degC."""
    drops = facts.flight.drops
    own = next((d for d in drops if d.place == draft.place), next(iter(drops), None))
    return None if own is None else own.temperature_c
