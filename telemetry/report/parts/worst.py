"""The table of the worst cases, for a flight and for the budget alike."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.circuit.budget_records import PlaceBudget
from telemetry.model.text import plain
from telemetry.report.document import Table
from telemetry.report.parts.tables import cells, columns
from telemetry.report.words import CASE_WORD, NONE, NumberSteps, interval
from telemetry.results import Level, Margin, WorstCase

_JUDGED = {Level.GROUND: "too low", Level.WATCH: "low", Level.CLEAR: "enough", None: NONE}
# A voltage whose interval spans more of itself than this part tells nothing (heuristic).
_WIDEST = 0.5
_MEASURED = (
    "Carried down the path by the measured resistances, from the packs as they were at landing."
)


_STALLED = "All servos stalled at once is shown for design only."


def worst_table(
    places: Sequence[Margin] | Sequence[PlaceBudget],
    steps: NumberSteps,
    before: str = "",
    how: str = _MEASURED,
) -> Table | None:
    """Voltage to expect at each place in each worst case; None where none could be worked out."""
    rows = tuple(
        cells(
            plain(p.place),
            CASE_WORD.get(c.case, plain(c.case)),
            steps.bare_amps(c.current_a),
            interval(c.voltage_v, c.low_v, c.high_v, "V"),
            steps.bare_volts(p.restart_v),
            steps.bare_volts(p.comfort_v),
            _JUDGED[c.level],
        )
        for p in places
        for c in p.cases
        if c.voltage_v is not None and not _tells_nothing(c)
    )
    if not rows:
        return None
    return Table(
        caption=f"{before}Voltage to expect in worst cases",
        columns=columns(
            "Place",
            "Case",
            ">At, A",
            ("Voltage to expect", how),
            ">Restart V",
            "~>Comfort V",
            (
                "Margin",
                "Margin, by the limits in force: low is below the comfortable supply or near "
                "the restart level, too low surely near it.",
            ),
        ),
        rows=rows,
        note=(_STALLED if _has_stalled(places) else "") + left_out(places),
    )


def _has_stalled(places: Sequence[Margin] | Sequence[PlaceBudget]) -> bool:
    cases = (c for p in places for c in p.cases)
    return any(c.case == "all-stalled" and c.voltage_v is not None for c in cases)


def _tells_nothing(case: WorstCase) -> bool:
    """Whether its interval spans most of the supply: no number to show."""
    if case.case != "return-level" or case.low_v is None or case.high_v is None:
        return False
    return case.high_v - case.low_v > _WIDEST * case.high_v


def left_out(places: Sequence[Margin] | Sequence[PlaceBudget]) -> str:
    """Worst cases that could not be worked out, with the reasons, each once; "" for none."""
    missing: dict[str, None] = {}
    for case in (c for p in places for c in p.cases if c.voltage_v is None or _tells_nothing(c)):
        note = case.note if case.voltage_v is None else "the peaks seen tell it from low to full"
        why = f" ({plain(note)})" if note else ""
        missing.setdefault(f"{CASE_WORD.get(case.case, plain(case.case))}{why}")
    return f" Not worked out: {'; '.join(missing)}." if missing else ""
