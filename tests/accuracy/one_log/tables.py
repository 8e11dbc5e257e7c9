"""The tables of a matrix of faults and findings, in Markdown."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from statsmodels.stats.proportion import proportion_confint

from tests.accuracy.one_log.kinds import FAULTS, HEALTHY, KINDS
from tests.accuracy.one_log.telling import (
    ACCUSED,
    EXCUSED,
    FOUND,
    OTHERWISE,
    PLACE_WRONG,
    SILENT,
    UNKNOWN,
    Outcome,
    Told,
)

_AIMS = (
    "Aims: of visible faults silent at most 2 %, the right place in 98 %, a cause ranked in 70 % "
    "and the first one right in 85 % of those that the log can tell apart.",
    "Aims, full columns at 0.5 s or faster: clear in 90 %, accused in at most 1 %, at ground in "
    "none; the upper ends count.",
)
_GRAVE = ("clear", "unknown", "watch", "ground")
#: Full columns at this interval or faster are what a healthy log should be clear with, s.
FAST_S = 0.5


def share(hits: int, of: int) -> str:
    """A share with its Wilson interval, %."""
    if of == 0:
        return "-"
    low, high = proportion_confint(hits, of, method="wilson")
    return f"{100 * hits / of:.0f} % ({100 * low:.0f} to {100 * high:.0f})"


def fine_share(hits: int, of: int) -> str:
    """The same with one decimal, for rare things."""
    if of == 0:
        return "-"
    low, high = proportion_confint(hits, of, method="wilson")
    return f"{hits}: {100 * hits / of:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def all_tables(outcomes: Sequence[Outcome]) -> str:
    """Everything that RESULTS.md shows."""
    parts = [_faults(outcomes), _by_sampling(outcomes), _matrix(outcomes)]
    parts = parts if _visible(outcomes) else []
    if any(not KINDS[o.kind].sight for o in outcomes):
        parts.append(_healthy(outcomes))
    return "\n\n".join("\n".join(lines) for lines in parts)


def _visible(outcomes: Sequence[Outcome]) -> list[Outcome]:
    return [o for o in outcomes if KINDS[o.kind].sight and o.visible]


def _faults(outcomes: Sequence[Outcome]) -> Iterator[str]:
    yield (
        "| fault | drawn | visible | found | silent | unknown: excused, not | other finding: "
        "there, elsewhere | place right, of told | watch, ground |"
    )
    yield "|" + "---|" * 9
    rows = _visible(outcomes)
    for kind in FAULTS:
        drawn = [o for o in outcomes if o.kind == kind.name]
        if drawn:
            own = [o for o in rows if o.kind == kind.name]
            yield _fault_row(kind.name, str(sum(o.draws for o in drawn)), own)
    yield _fault_row("all", str(sum(o.draws for o in outcomes if KINDS[o.kind].sight)), rows)
    yield ""
    yield _AIMS[0]
    yield ""
    yield from _causes(rows)


def _fault_row(name: str, drawn: str, rows: Sequence[Outcome]) -> str:
    n = Counter(o.came_to for o in rows)
    told = n[FOUND] + n[PLACE_WRONG]
    levels = Counter(_level(o) for o in rows if o.came_to == FOUND)
    cells = (
        name,
        drawn,
        str(len(rows)),
        share(n[FOUND], len(rows)),
        share(n[SILENT], len(rows)),
        f"{n[EXCUSED]}, {n[UNKNOWN]}",
        f"{n[OTHERWISE]}, {n[ACCUSED]}",
        share(n[FOUND], told),
        f"{levels['watch']}, {levels['ground']}",
    )
    return f"| {' | '.join(cells)} |"


def _level(o: Outcome) -> str:
    """The worst level at which a fault was told at its place."""
    own = {t.level for t in o.told if t.code in KINDS[o.kind].codes and t.at(o.places)}
    return next((x for x in ("ground", "watch") if x in own), "below")


def _causes(rows: Sequence[Outcome]) -> Iterator[str]:
    """How often a cause is ranked and the first one right, and what stood first."""
    found = [o for o in rows if o.came_to == FOUND]
    mains = [(o, t) for o in found if (t := _main(o)) is not None]
    ranked = [(o, t) for o, t in mains if t.ranked]
    right = [(o, t) for o, t in ranked if t.cause in KINDS[o.kind].causes]
    yield (
        f"A cause is ranked in {share(len(ranked), len(found))} of the found, and of these the "
        f"first is right in {share(len(right), len(ranked))}. Found, ranked, and first of the "
        "ranked, wrong ones in brackets:"
    )
    yield ""
    for name in dict.fromkeys(o.kind for o in found):
        own = Counter(t.cause for o, t in ranked if o.kind == name)
        told = (
            f"{c} {n}" if c in KINDS[name].causes else f"({c} {n})" for c, n in own.most_common()
        )
        n = sum(o.kind == name for o in found)
        yield f"- {name}: {n}, {own.total()}: {', '.join(told) or '-'}"


def _main(o: Outcome) -> Told | None:
    """The finding that tells the fault: following from none, the worst, of those the best."""
    codes = KINDS[o.kind].codes
    own = [t for t in o.told if t.code in codes and t.at(o.places)]
    own.sort(key=lambda t: (t.follows, -_GRAVE.index(t.level), codes.index(t.code)))
    return own[0] if own else None


def _by_sampling(outcomes: Sequence[Outcome]) -> Iterator[str]:
    yield "| visible faults at | n | found | silent | unknown, not excused | elsewhere alone |"
    yield "|" + "---|" * 6
    rows = _visible(outcomes)
    for step in sorted({o.update_s for o in rows}):
        own = [o for o in rows if o.update_s == step]
        n = Counter(o.came_to for o in own)
        elsewhere = n[ACCUSED] + n[PLACE_WRONG]
        counts = (n[FOUND], n[SILENT], n[UNKNOWN], elsewhere)
        cells = (f"{step:g} s", str(len(own)), *(share(k, len(own)) for k in counts))
        yield f"| {' | '.join(cells)} |"


def _matrix(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Logs of each fault that were told each code at watch or above; in brackets elsewhere."""
    rows = _visible(outcomes)
    accusing = [{(t.code, t.at(o.places)) for t in o.told if t.accuses} for o in rows]
    codes = Counter(code for told in accusing for code, _ in told)
    names = [code for code, _ in codes.most_common()]
    yield f"| fault, of visible | {' | '.join(names)} |"
    yield "|" + "---|" * (len(names) + 1)
    for kind in FAULTS:
        own = [told for o, told in zip(rows, accusing, strict=True) if o.kind == kind.name]
        if own:
            cells = [
                _cell(
                    sum((c, True) in t for t in own),
                    sum((c, False) in t and (c, True) not in t for t in own),
                )
                for c in names
            ]
            yield f"| {kind.name}, {len(own)} | {' | '.join(cells)} |"


def _cell(here: int, elsewhere: int) -> str:
    return f"{here or ''} ({elsewhere})".strip() if elsewhere else str(here or "")


def _healthy(outcomes: Sequence[Outcome]) -> Iterator[str]:
    yield "| healthy | n | clear | unknown | accused, watch or ground | at ground | wrong codes |"
    yield "|" + "---|" * 7
    drawn = [o for o in outcomes if not KINDS[o.kind].sight]
    # A supply that truly was low is no healthy log, whatever else it is.
    rows = [o for o in drawn if _wrong(o) or not any(t.accuses for t in o.told)]
    for step in sorted({o.update_s for o in rows}):
        yield _healthy_row(f"at {step:g} s", [o for o in rows if o.update_s == step])
    full = [o for o in rows if o.full and o.update_s <= FAST_S]
    yield _healthy_row(f"full columns, {FAST_S:g} s or faster", full)
    for kind in HEALTHY:
        own = [o for o in rows if o.kind == kind.name]
        if any(_wrong(o) for o in own):
            yield _healthy_row(kind.name, own)
    yield _healthy_row("all", rows)
    yield ""
    yield f"Left out: {len(drawn) - len(rows)} whose supply truly was as low as it was told."
    yield ""
    yield _AIMS[1]


def _wrong(o: Outcome) -> set[tuple[str, str]]:
    """Code and level of what a healthy log was told at watch or above and is not so."""
    return {(t.code, t.level) for t in o.told if t.accuses and not t.so}


def _healthy_row(name: str, rows: Sequence[Outcome]) -> str:
    wrong = [_wrong(o) for o in rows]
    codes = Counter(code for told in wrong for code in {c for c, _ in told})
    cells = (
        name,
        str(len(rows)),
        share(sum(o.verdict == "clear" for o in rows), len(rows)),
        share(sum(o.verdict == "unknown" for o in rows), len(rows)),
        fine_share(sum(bool(told) for told in wrong), len(rows)),
        fine_share(sum(any(level == "ground" for _, level in told) for told in wrong), len(rows)),
        ", ".join(f"{c} {n}" for c, n in codes.most_common()) or "none",
    )
    return f"| {' | '.join(cells)} |"


def missed(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """One line for each log that was not right, with what makes it again."""
    for o in outcomes:
        fault = bool(KINDS[o.kind].sight)
        wrong = [f"{t.code}@{t.place or 'all'}:{t.level}" for t in o.told if t.accuses and not t.so]
        if (fault and o.visible and o.came_to not in (FOUND, EXCUSED)) or (not fault and wrong):
            what = o.came_to if fault else "accused"
            saw = f"{o.sure:.0f} sigma, {o.size:.3g} over {o.limit:.3g}; " if fault else ""
            yield (
                f'{what}: --only "{o.kind}" --seed {o.seed} --each 1 ({o.update_s:g} s, '
                f"{o.where or 'no place'}; {saw}told {', '.join(wrong) or o.verdict})"
            )
