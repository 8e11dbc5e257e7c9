"""A log that cannot be judged: what its essential checks lacked, each reason once."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import RecordingFacts
from telemetry.checks.needs import NAME_THE_PLACES
from telemetry.results import CheckOutcome, Level, NotJudged

_WORDS = Words(
    (),
    "Log voltage and current of the bus and of every node, at the fastest rate on offer.",
    "Decide by inspection and by the stir: this log cannot help.",
)


def log_too_thin(facts: RecordingFacts, outcomes: Sequence[CheckOutcome]) -> list[FindingDraft]:
    """What essential checks could not judge; one finding, each reason once."""
    lacking = [o for o in outcomes if o.lacking]
    if not lacking:
        return []
    reasons = list(dict.fromkeys(o.why for o in lacking if o.why))
    unread = all(o.reason is NotJudged.NOT_UNDERSTOOD for o in lacking)
    return [
        FindingDraft(
            code="log-too-thin",
            level=Level.UNKNOWN,
            place=None,
            title="this log cannot tell everything: " + "; ".join(reasons),
            evidence={"reasons": len(reasons)},
            words=_with_columns_to_name(facts, only=unread),
        )
    ]


def _with_columns_to_name(facts: RecordingFacts, *, only: bool) -> Words:
    """The standing words, with what is to be named; ``only`` if nothing else lacks."""
    asked = []
    if facts.unsettled:
        lines = " ".join(u.set_line for u in facts.unsettled)
        asked.append(f"Say what these columns are: add {lines} to the command.")
    if facts.aircraft.unplaced:
        asked.append(f"{NAME_THE_PLACES[:1].upper()}{NAME_THE_PLACES[1:]}.")
    if not asked:
        return _WORDS
    confirm = " ".join(asked)
    if only:
        return Words((), confirm, "Review this log again with its columns named.")
    return _WORDS._replace(confirm=f"{confirm} {_WORDS.confirm}")


LOG_TOO_THIN = Check(
    code="log-too-thin",
    part=CheckPart.RECORDING,
    question="Does the log hold too little to judge?",
    meaning="An essential check could not judge; this is no clean result.",
    bench="log voltage and current of the bus and of the nodes, faster.",
    words=_WORDS,
    of_outcomes=log_too_thin,
    proof=None,
)
