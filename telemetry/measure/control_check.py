"""Which surface a check of one control after the other moved, by the nodes whose current rose.

Many pilots move one control at a time before a flight: full one way, full the other, back. Without
control columns the log shows it as bursts of current at the nodes where that surface's servos
live, with rest between. The pattern of nodes names the surface where no other lives at the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from telemetry.aircraft import Aircraft, Servo
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics import spans
from telemetry.numerics.attribution import condition_indices
from telemetry.numerics.sampling import outside
from telemetry.readings import Reading, Readings
from telemetry.results import Phase, PhaseKind, ServoShare

# What follows is ours. A move is over within so many seconds, a control within so many, and the
# next control follows within so many.
_MOVE_S, _CONTROL_S, _PAUSE_S = 5.0, 15.0, 8.0
# Each control is moved at least there and back.
_MOVES = 2
# A place moves above this many scaled MAD of its rest, steps of its sensor, and A.
_MADS, _STEPS, _LEAST_A = 6.0, 2.5, 0.1
# A place counts as still where the chance to have missed it is under this in all of the moves.
_MISSED = 0.02
_LEAST = 40  # readings on the ground

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class ControlMove:
    """One burst: from the first to the last reading above rest, and where."""

    start_s: float
    end_s: float
    places: frozenset[str]


@dataclass(frozen=True, slots=True)
class ControlRun:
    """The moves of one control."""

    moves: tuple[ControlMove, ...]
    places: frozenset[str]


def check_shares(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase]
) -> tuple[ServoShare, ...]:
    """Current of the servos of each surface, from a check of one control after the other.

    Parameters
    ----------
    readings : Readings
    aircraft : Aircraft
        Its servos tell which surface lives at which nodes; without them only the nodes are told.
    phases : sequence of Phase

    Returns
    -------
    tuple of ServoShare
        Per control and node where its servos live: mean current while it moved, above rest [A],
        with a 95 % range that holds the unknown ends of each move. ``drives`` joins by " or " the
        surfaces that the nodes cannot tell apart, and is None where none fits. Empty where the
        log shows no such check: at least two controls at different nodes, one at a time.
    """
    amps = {r.place: r for r in readings.of(Quantity.CURRENT)}
    root = aircraft.root
    packs = {p.name for p in aircraft.packs} | {s.name for s in aircraft.supplies}
    nodes = {p: r for p, r in amps.items() if p not in packs and p != root}
    whole = amps.get(root) if root is not None else None
    if not nodes:
        return ()
    for stretch in ground_spans(phases):
        known = {p: r.within(*stretch) for p, r in nodes.items()}
        known = {p: r for p, r in known.items() if r.size >= _LEAST}
        if not known:
            continue
        above = {p: above_rest(r) for p, r in known.items()}
        moves = find_moves(known, above)
        if whole is not None and root is not None and whole.within(*stretch).size >= _LEAST:
            moves = with_moves_of_whole(moves, whole.within(*stretch), root)
            known = {**known, root: whole.within(*stretch)}
        sure = [r for r in group_runs(moves, known) if is_surely_still(r, known, root)]
        if controls := longest_check(sure):
            return _shares(controls, known, aircraft)
    return ()


def ground_spans(phases: Sequence[Phase]) -> list[Span]:
    """Stretches on the ground; a check may pass for a stir."""
    still = (PhaseKind.GROUND, PhaseKind.STIR)
    return spans.merge([(p.start_s, p.end_s) for p in phases if p.kind in still], 1e-6)


def rest_level(r: Reading) -> tuple[float, float]:
    """Current at rest, and the least above it that counts as movement, A."""
    rest = float(np.quantile(r.v, 0.25))
    calm = r.v[r.v <= np.median(r.v)]
    scatter = 1.4826 * float(np.median(np.abs(calm - rest)))
    return rest, max(_MADS * scatter, _STEPS * (r.resolution or 0.0), _LEAST_A)


def above_rest(r: Reading) -> FloatArray:
    """Current above rest, over the least that counts as movement: above 1 it moves."""
    rest, least = rest_level(r)
    return np.asarray((r.v - rest) / least)


def reading_step_s(r: Reading) -> float:
    """Usual time between two readings, s."""
    return float(np.median(np.diff(r.t)))


def burst_spans(r: Reading, above: FloatArray) -> list[Span]:
    """From the first to the last reading above rest of each burst."""
    return [(float(r.t[i]), float(r.t[k - 1])) for i, k in spans.runs(above > 1.0)]


def find_moves(known: dict[str, Reading], above: dict[str, FloatArray]) -> list[ControlMove]:
    """Bursts of all places, those that overlap within an update taken together."""
    found = [(a, b, p) for p, r in known.items() for a, b in burst_spans(r, above[p])]
    out: list[ControlMove] = []
    for a, b, place in sorted(found):
        slack = reading_step_s(known[place])
        last = out[-1] if out else None
        if last is not None and a <= last.end_s + slack:
            out[-1] = ControlMove(last.start_s, max(b, last.end_s), last.places | {place})
        else:
            out.append(ControlMove(a, b, frozenset({place})))
    return out


def with_moves_of_whole(moves: list[ControlMove], whole: Reading, root: str) -> list[ControlMove]:
    """Besides, moves that only the current of the whole shows: servos on the main unit itself."""
    slack = 2.0 * reading_step_s(whole) + 0.5
    busy = [(m.start_s - slack, m.end_s + slack) for m in moves]
    alone = [
        ControlMove(a, b, frozenset({root}))
        for a, b in burst_spans(whole, above_rest(whole))
        if not any(a < end and start < b for start, end in busy)
    ]
    return sorted([*moves, *alone], key=lambda m: m.start_s)


def group_runs(moves: list[ControlMove], known: dict[str, Reading]) -> list[ControlRun]:
    """Moves in a row at the same places."""
    runs: list[list[ControlMove]] = []
    for move in moves:
        last = runs[-1] if runs else None
        if (
            last is not None
            and move.start_s - last[-1].end_s <= _PAUSE_S
            and may_be_same_control(last, move, known)
        ):
            last.append(move)
        else:
            runs.append([move])
    return [ControlRun(tuple(r), frozenset().union(*(m.places for m in r))) for r in runs]


def may_be_same_control(
    run: list[ControlMove], move: ControlMove, known: dict[str, Reading]
) -> bool:
    """Whether a move may be of the same control: what differs may just have been missed."""
    places = frozenset().union(*(m.places for m in run))
    lacking, new = places - move.places, move.places - places
    return all(chance_missed(move, known[p]) > _MISSED for p in lacking) and all(
        chance_missed(m, known[p]) > _MISSED for m in run for p in new
    )


def chance_missed(move: ControlMove, r: Reading) -> float:
    """Chance that a unit which reads every so often saw nothing of a move: 1 - d / T."""
    # A thousandth of slack, for instants that are multiples of the step up to rounding.
    return max(0.0, 0.999 - (move.end_s - move.start_s) / reading_step_s(r))


def is_surely_still(run: ControlRun, known: dict[str, Reading], root: str | None) -> bool:
    """Whether the places that seem still surely were; the whole moves with any of them."""
    if root in run.places and may_be_hidden(run, known, root):
        return False
    return all(
        float(np.prod([chance_missed(m, r) for m in run.moves])) < _MISSED
        for p, r in known.items()
        if p not in run.places and p != root
    )


def may_be_hidden(run: ControlRun, known: dict[str, Reading], root: str) -> bool:
    """Whether a node whose sensor is too coarse for it may have made what the whole shows."""
    whole = known[root]
    rest, _ = rest_level(whole)
    # A move ends with its last reading above rest.
    seen = [whole.within(m.start_s, m.end_s + 1e-6) for m in run.moves]
    peaks = [float(x.v.max()) for x in seen if x.size]
    if not peaks:  # it was silent just then
        return True
    rise = float(np.median(peaks)) - rest
    return any(2.0 * rest_level(r)[1] > rise for p, r in known.items() if p != root)


def longest_check(runs: list[ControlRun]) -> list[ControlRun]:
    """The longest row of runs that is a check: different controls, each there and back."""
    best: list[ControlRun] = []
    row: list[ControlRun] = []
    for run in runs:
        first, last = run.moves[0], run.moves[-1]
        good = (
            len(run.moves) >= _MOVES
            and last.end_s - first.start_s <= _CONTROL_S
            and all(m.end_s - m.start_s <= _MOVE_S for m in run.moves)
        )
        late = bool(row) and first.start_s - row[-1].moves[-1].end_s > _PAUSE_S
        if not good or late:
            row = []
        if good:
            row.append(run)
        best = max(best, list(row), key=lambda x: (_different(x), len(x)))
    return best if _different(best) >= 2 else []


def _different(runs: list[ControlRun]) -> int:
    return len({r.places for r in runs})


def _shares(
    runs: list[ControlRun], known: dict[str, Reading], aircraft: Aircraft
) -> tuple[ServoShare, ...]:
    surfaces = servos_by_control(aircraft)
    lives = {s: places_showing(servos, known, aircraft) for s, servos in surfaces.items()}
    full = {r.places for r in runs}
    out = []
    for run in runs:
        fits = [s for s, places in lives.items() if places == run.places]
        # One of whose places a small servo moved too little to be seen; unless it was seen whole.
        fits += [s for s, p in lives.items() if p > run.places and p not in full and fits]
        for place in sorted(run.places):
            if any(place in aircraft.feeders(p) for p in run.places):
                continue  # it only feeds the place that moved
            servos = [
                s
                for x in fits
                for s in surfaces[x]
                if place in ({s.node} if s.node in known else places_showing((s,), known, aircraft))
            ]
            out.append(
                replace(
                    measure_run(run, place, known[place], [r for r in runs if place in r.places]),
                    outputs=tuple(str(s.output) for s in servos),
                    drives=" or ".join(fits) or None,
                    separable=len(fits) == 1 and sum(s.count for s in servos) == 1,
                    controls=tuple(fits),
                )
            )
    return tuple(out)


def servos_by_control(aircraft: Aircraft) -> dict[str, tuple[Servo, ...]]:
    """Servos by the control that moves them: left and right ailerons are one."""
    out: dict[str, tuple[Servo, ...]] = {}
    for servo in aircraft.servos:
        kind = servo.surface or servo.drives
        out[kind] = (*out.get(kind, ()), servo)
    return out


def places_showing(
    servos: Sequence[Servo], known: dict[str, Reading], aircraft: Aircraft
) -> frozenset[str]:
    """Places whose current shows these servos: their own and what feeds them, else the whole."""
    root = aircraft.root
    found = {
        p
        for s in servos
        for p in (s.node, *all_feeders(s.node, aircraft))
        if p in known and p != root
    }
    return frozenset(found or ({root} if root in known else set()))


def all_feeders(place: str, aircraft: Aircraft) -> list[str]:
    """All that lies between a place and the supply, the nearest first."""
    out: list[str] = []
    wave = list(aircraft.feeders(place))
    while wave:
        up = wave.pop()
        if up not in out:
            out.append(up)
            wave += aircraft.feeders(up)
    return out


def measure_run(run: ControlRun, place: str, r: Reading, runs: Sequence[ControlRun]) -> ServoShare:
    """Charge above rest over the time it moved, both with what is not known of them."""
    step = reading_step_s(r)
    moves = [(m.start_s - step, m.end_s + step) for m in run.moves]
    within = (moves[0][0] - _PAUSE_S, moves[-1][1] + _PAUSE_S)
    near = r.within(*within)
    others = [(m.start_s - step, m.end_s + step) for x in runs for m in x.moves]
    still = near.v[outside(near.t, others)]
    on = ~outside(near.t, moves)
    pauses = [near.v[(near.t > a) & (near.t < b)] for (_, a), (b, _) in pairwise(moves)]
    held = np.concatenate(pauses) - _middle(still)
    moving, low, high = moving_current(run, near.v[on] - _middle(still), still, step)
    return ServoShare(
        place=place,
        outputs=(),
        drives=None,
        travel_a_per_pct_s=None,
        hold_a_per_pct=None,
        low=None,
        high=None,
        condition_index=moves_condition_index(near, runs, step),
        separable=False,
        moving_a=moving,
        moving_low_a=low,
        moving_high_a=high,
        resting_a=max(0.0, float(np.median(held))) if held.size >= 3 else None,
        moves=len(run.moves),
        basis="control check",
    )


def _middle(still: FloatArray) -> float:
    return float(np.median(still)) if still.size else 0.0


def moving_current(
    run: ControlRun, above: FloatArray, still: FloatArray, step: float
) -> tuple[float | None, float | None, float | None]:
    """Mean current while moving and its range, A; None where the moves are too short to time.

    Each move began and ended within an update of its first and last reading: of a unit that reads
    instants it lasted an update longer than these are apart, of one that reads means about as long.
    """
    lengths = np.array([m.end_s - m.start_s for m in run.moves])
    if still.size < 3 or above.size < 3 or float(np.median(lengths)) < 0.999 * step:
        return None, None, None
    charge = float(above.sum()) * step
    # Readings swing within a move, and the rest is known only so well.
    chance = step * float(np.hypot(above.std(ddof=1), still.std() / np.sqrt(still.size)))
    reach = 1.96 * chance * np.sqrt(above.size)
    n = lengths.size
    lasted = float(lengths.sum()) + 0.5 * n * step
    doubt = 0.5 * n * step + 1.96 * 0.41 * step * np.sqrt(n)
    low = max(0.0, charge - reach) / (lasted + doubt)
    high = (charge + reach) / max(lasted - doubt, 0.25 * lasted)
    return charge / lasted, low, high


def moves_condition_index(near: Reading, runs: Sequence[ControlRun], step: float) -> float:
    """Scaled condition index of the rest and of each control's moves at this place."""
    columns = [np.ones(near.size)]
    for x in runs:
        busy = [(m.start_s - step, m.end_s + step) for m in x.moves]
        moved = (~outside(near.t, busy)).astype(float)
        if moved.any():
            columns.append(moved)
    return float(condition_indices(np.stack(columns, axis=1))[-1])
