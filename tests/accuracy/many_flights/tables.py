"""The tables of seasons, in Markdown."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np
from statsmodels.stats.proportion import proportion_confint

from tests.accuracy.many_flights.kinds import KINDS
from tests.accuracy.many_flights.rivals import RIVALS, found_by, threshold
from tests.accuracy.many_flights.running import Outcome, Told
from tests.accuracy.many_flights.sight import SURE

#: Median delays that the charts may not lose, in flights from the one in which a fault counts.
AIMS = {"servo-binding": 1, "connector": 0, "servo-silent": 2}
#: Of healthy seasons, with a finding at this level, %.
_HEALTHY_AIMS = {"watch": 10, "ground": 2}


def share(hits: int, of: int) -> str:
    """A share with its Wilson interval, %."""
    if of == 0:
        return "-"
    low, high = proportion_confint(hits, of, method="wilson")
    return f"{100 * hits / of:.0f} % ({100 * low:.0f} to {100 * high:.0f})"


def all_tables(outcomes: Sequence[Outcome]) -> str:
    """Everything that RESULTS.md shows."""
    parts: list[list[str]] = []
    for generator in dict.fromkeys(o.generator for o in outcomes):
        full = [o for o in outcomes if o.generator == generator and o.path == "full"]
        faults = [o for o in full if o.kind and o.counts is not None and o.counts <= o.flights]
        healthy = [o for o in full if not o.kind]
        title = [f"Seasons of the generator {generator!r}"]
        parts.append(title)
        if healthy:
            parts.append(list(_healthy(healthy)))
        if faults:
            parts += [list(_faults(faults)), list(_states(faults)), list(_matrix(faults))]
    ways = {
        "The whole way, seasons with currents of the nodes": [
            o for o in outcomes if o.generator == "own" and o.path == "full" and _has_stirs(o)
        ],
        "Currents of the nodes alone": [o for o in outcomes if o.path == "light"],
    }
    for title_, rows in ways.items():
        if any(not o.kind for o in rows) and any(o.kind and KINDS[o.kind].rises for o in rows):
            parts.append(list(_against_rivals(title_, rows)))
    return "\n\n".join("\n".join(lines) for lines in parts)


def _healthy(rows: Sequence[Outcome]) -> Iterator[str]:
    """How often healthy seasons are accused, by what several flights tell and by single reviews."""
    yield (
        "| flights | healthy seasons | flights together: watch or above | ground "
        "| any review of one flight too: watch or above | ground "
        "| open after a flight: watch or above, ground | codes |"
    )
    yield "|" + "---|" * 8
    for flights in sorted({o.flights for o in rows}):
        own = [o for o in rows if o.flights == flights]
        cells = [str(flights), str(len(own))]
        for across in (True, False):
            for levels in (("watch", "ground"), ("ground",)):
                hit = sum(
                    any(t.worst(1, flights) in levels and (t.across or not across) for t in o.told)
                    for o in own
                )
                cells.append(share(hit, len(own)))
        held = [
            np.mean(
                [
                    [any(t.at(k) in levels for t in o.told) for k in range(1, flights + 1)]
                    for o in own
                ]
            )
            for levels in (("watch", "ground"), ("ground",))
        ]
        cells.append(", ".join(f"{100 * h:.1f} %" for h in held))
        codes = Counter(code for o in own for code in {t.code for t in o.told})
        cells.append(", ".join(f"{c} {n}" for c, n in codes.most_common()) or "none")
        yield f"| {' | '.join(cells)} |"
    aims = ", ".join(f"{level} at most {x} %" for level, x in _HEALTHY_AIMS.items())
    yield ""
    yield f"Aims of 20 flights: {aims}."


def _faults(rows: Sequence[Outcome]) -> Iterator[str]:
    yield (
        "| fault | seasons | shown by the true signals | found | found of the shown "
        "| flights after it counts: median, 90 % | at ground | place right | servo right "
        "| before | another place accused |"
    )
    yield "|" + "---|" * 11
    for kind in KINDS:
        own = [o for o in rows if o.kind == kind]
        if own:
            yield _fault_row(kind, own)
    met = []
    for kind, aim in AIMS.items():
        own = [o for o in rows if o.kind == kind]
        if own:
            median = _quantile([delay(o) for o in own], 0.5)
            met.append(f"{kind} {median} (aim {aim})")
    if met:
        yield ""
        yield f"Median delay: {', '.join(met)}."


def _fault_row(name: str, rows: Sequence[Outcome]) -> str:
    found = [o for o in rows if o.found() is not None]
    shown = [o for o in rows if o.sure >= SURE]
    named = [n for o in rows if (n := _servo_right(o)) is not None]
    delays = [delay(o) for o in rows]
    cells = (
        name,
        str(len(rows)),
        share(len(shown), len(rows)),
        share(len(found), len(rows)),
        share(sum(o.found() is not None for o in shown), len(shown)),
        f"{_quantile(delays, 0.5)}, {_quantile(delays, 0.9)}",
        share(sum(o.found("ground") is not None for o in rows), len(rows)),
        share(sum(bool(o.first_right) for o in found), len(found)),
        f"{sum(named)} of {len(named)}" if named else "-",
        share(sum(bool(_before(o)) for o in rows), len(rows)),
        share(sum(bool(_elsewhere(o)) for o in rows), len(rows)),
    )
    return f"| {' | '.join(cells)} |"


def _servo_right(o: Outcome) -> bool | None:
    """Whether the control named drives the servo; None where none was named."""
    named = next((t.servo for t in o.rightly(o.told) if t.servo), None)
    return None if named is None or not o.control else named.startswith(o.control)


def _before(o: Outcome) -> list[Told]:
    """What flights together told before there was a fault."""
    return [t for t in o.told if t.across and o.onset and t.within(1, o.onset - 1)]


def _elsewhere(o: Outcome) -> list[Told]:
    """What flights together told of other places while the fault was there."""
    since = o.onset or 1
    return [t for t in o.told if t.across and t.place not in o.places and t.within(since, o.until)]


def _states(rows: Sequence[Outcome]) -> Iterator[str]:
    """Whether findings are open while the fault is there, and closed when it has gone."""
    yield (
        "| fault | found | open in every flight since, while it is there | closed by a note of the "
        "repair, from the next flight on | without a note: kept, where only a note closes it "
        "| closed by flights, where they do | flights until then: median |"
    )
    yield "|" + "---|" * 7
    for kind in KINDS:
        own = [o for o in rows if o.kind == kind and _found_while_there(o)]
        if own:
            yield _state_row(kind, own)


def _found_while_there(o: Outcome) -> bool:
    found = o.found()
    return found is not None and found <= o.until


def _state_row(name: str, rows: Sequence[Outcome]) -> str:
    steady = sum(_always_open(o) for o in rows)
    noted = [o for o in rows if o.mended]
    closed = sum(not _open_from(o, o.mended) for o in noted)
    kept, kept_of, gone, waits = 0, 0, 0, []
    gone_of = 0
    for o in rows:
        if o.gone is None or o.flown < o.gone:
            continue
        was_ground = any(t.at(o.gone - 1) == "ground" for t in o.rightly(o.told))
        still = _open_at(o, o.flown, o.told)
        if KINDS[name].lasts and (was_ground or name in ("servo-silent", "pack-out")):
            kept, kept_of = kept + still, kept_of + 1
        else:
            gone, gone_of = gone + (not still), gone_of + 1
            if not still:
                first = next(k for k in range(o.gone, 999) if not _open_at(o, k, o.told))
                waits.append(float(first - o.gone))
    cells = (
        name,
        str(len(rows)),
        share(steady, len(rows)),
        share(closed, len(noted)),
        share(kept, kept_of),
        share(gone, gone_of),
        _quantile(waits, 0.5) if waits else "-",
    )
    return f"| {' | '.join(cells)} |"


def _always_open(o: Outcome) -> bool:
    found = o.found()
    assert found is not None
    return all(_open_at(o, k, o.told) for k in range(found, o.until + 1))


def _open_at(o: Outcome, flight: int, told: Sequence[Told]) -> bool:
    return any(t.at(flight) for t in o.rightly(told))


def _open_from(o: Outcome, told: Sequence[Told]) -> bool:
    """Whether it is open at any flight from the repair on."""
    assert o.gone is not None
    return any(t.within(o.gone, o.flown) for t in o.rightly(told))


def _matrix(rows: Sequence[Outcome]) -> Iterator[str]:
    """Per kind how many seasons told each finding at the place, and at others, with the fault."""
    yield "| fault | seasons | told at its place | at other places |"
    yield "|---|---|---|---|"
    for kind in KINDS:
        own = [o for o in rows if o.kind == kind]
        if not own:
            continue
        here: Counter[str] = Counter()
        there: Counter[str] = Counter()
        for o in own:
            since = o.onset or 1
            now = [t for t in o.told if t.within(since, o.until)]
            here.update({t.code for t in now if t.place in o.places})
            there.update({t.code for t in now if t.place not in o.places})
        right = KINDS[kind].codes
        cells = (
            kind,
            str(len(own)),
            ", ".join(f"{c if c in right else f'({c})'} {n}" for c, n in here.most_common()) or "-",
            ", ".join(f"({c}) {n}" for c, n in there.most_common()) or "-",
        )
        yield f"| {' | '.join(cells)} |"


def _has_stirs(outcome: Outcome) -> bool:
    return any(v is not None for values in outcome.stirs.values() for v in values)


def _against_rivals(title: str, outcomes: Sequence[Outcome]) -> Iterator[str]:
    """The baselines on the same seasons, their thresholds from the healthy ones among them."""
    healthy = [o for o in outcomes if not o.kind]
    false = sum(any(t.across for t in o.told) for o in healthy)
    yield f"{title}: {len(healthy)} healthy seasons, with any finding {share(false, len(healthy))}"
    for rate in (0.05, max(false, 1) / len(healthy)):
        yield ""
        yield f"Baselines set to {100 * rate:.1f} % of healthy seasons"
        yield ""
        yield "| fault | method | found | after it counts: median, 90 % | place right |"
        yield "|---|---|---|---|---|"
        for kind in (k for k in KINDS if KINDS[k].rises):
            rows = [o for o in outcomes if o.kind == kind and o.counts and o.counts <= o.flights]
            if not rows:
                continue
            found = [(o.found(), o.first_right) for o in rows]
            yield _compared(kind, "busbook", rows, found)
            for name, rival in RIVALS.items():
                limit = threshold(healthy, rival, rate)
                yield _compared("", name, rows, [found_by(o, rival, limit) for o in rows])


def _compared(
    kind: str, name: str, rows: Sequence[Outcome], found: Sequence[tuple[int | None, bool | None]]
) -> str:
    delays = [_wait(k, o.counts) for (k, _), o in zip(found, rows, strict=True)]
    hits = [right for k, right in found if k is not None]
    return (
        f"| {kind} | {name} | {share(len(hits), len(rows))} "
        f"| {_quantile(delays, 0.5)}, {_quantile(delays, 0.9)} "
        f"| {share(sum(bool(h) for h in hits), len(hits))} |"
    )


def delay(o: Outcome) -> float:
    """Flights from the one in which a fault counts to the one that found it; a miss is never."""
    return _wait(o.found(), o.counts)


def _wait(found: int | None, since: int | None) -> float:
    return np.inf if found is None or since is None else float(found - since)


def _quantile(delays: Sequence[float], q: float) -> str:
    value = float(np.quantile(delays, q, method="inverted_cdf"))
    return "never" if np.isinf(value) else f"{value:.0f}"
