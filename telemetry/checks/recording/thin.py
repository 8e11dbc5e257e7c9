"""What a log cannot tell, each reason once."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import RecordingFacts
from telemetry.model.unsettled import Unsettled
from telemetry.results import FALLS, LOADED_PHASES, Level, Origin

# So many falls that nothing can be attributed to make a log too thin (ours).
_SEVERAL = 3

_WORDS = Words(
    (),
    "Log voltage and current of the bus and of every node, at the fastest rate on offer.",
    "Decide by inspection and by the stir: this log cannot help.",
)


def thin(facts: RecordingFacts) -> list[FindingDraft]:
    """What the log cannot tell; one finding, each reason once."""
    quality, flights, unsettled = facts.quality, facts.flights, facts.unsettled
    used = {c.quantity for c in facts.columns if c.used}
    reasons: list[str] = []
    if "voltage" not in used:
        reasons.append("it has no voltage")
    if "current" not in used:
        reasons.append("it has no current, so no voltage drop can be attributed to load")
    loaded = [p for f in flights for p in f.phases if p.kind in LOADED_PHASES]
    if not loaded:
        reasons.append("neither a stir nor a flight was found in it, so nothing was under load")
    dip = quality.shortest_sure_dip_s
    if dip is not None and dip > 2.0:
        reasons.append(f"a dip shorter than {dip:.1f} s can pass unseen")
    span = sum(f.duration_s for f in flights)
    # Between two flights of one file nothing is lost.
    lost = sum(
        max(0.0, min(d.end_s, f.end_s) - max(d.start_s, f.start_s))
        for d in quality.dropouts
        for f in flights
        if d.place is None
    )
    if span > 0 and lost > 0.2 * span:
        reasons.append(f"telemetry was lost for {100 * lost / span:.0f} % of the time")
    unjudged = [
        e
        for f in flights
        for e in f.events
        if e.kind in FALLS
        and e.origin is Origin.UNKNOWN
        and e.phase in LOADED_PHASES
        and (e.depth_v or 0.0) > 0.5
    ]
    if len(unjudged) >= _SEVERAL:
        reasons.append(
            f"{len(unjudged)} voltage drops could not be attributed to load or fault: "
            "the current is missing or reported too slowly"
        )
    reasons += [_unread(u) for u in unsettled]
    if not reasons:
        return []
    return [
        FindingDraft(
            code="log-too-thin",
            level=Level.UNKNOWN,
            place=None,
            title="this log cannot tell everything: " + "; ".join(reasons),
            evidence={"reasons": len(reasons)},
            words=_with_columns_to_name(unsettled, only=len(reasons) == len(unsettled)),
        )
    ]


def _with_columns_to_name(unsettled: Sequence[Unsettled], *, only: bool) -> Words:
    """The standing words, with the columns that are to be named; ``only`` if nothing else lacks."""
    if not unsettled:
        return _WORDS
    lines = " ".join(u.set_line for u in unsettled)
    confirm = f"Say what these columns are: add {lines} to the command."
    if only:
        return Words((), confirm, "Review this log again with its columns named.")
    return _WORDS._replace(confirm=f"{confirm} {_WORDS.confirm}")


def _unread(u: Unsettled) -> str:
    if u.beside:
        return (
            f"the current '{u.column}' has no voltage and the voltage '{u.beside}' no current: "
            "they may be of one place, whose lead was then not judged"
        )
    return f"the column '{u.column}' may be a voltage or a current and was not understood"


LOG_TOO_THIN = Check(
    code="log-too-thin",
    part=CheckPart.RECORDING,
    question="Does the log hold too little to judge?",
    meaning="The log does not hold enough to judge; this is no clean result.",
    bench="log voltage and current of the bus and of the nodes, faster.",
    words=_WORDS,
    in_recording=(thin,),
    proof=None,
)
