"""The table of the worst cases, for a flight and for the budget alike."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.circuit.budget_records import PlaceBudget
from telemetry.model.text import plain
from telemetry.report.document import Table
from telemetry.report.parts.tables import cells, columns
from telemetry.report.words import CASE_WORD, NONE, NumberSteps, interval
from telemetry.results import Level, Margin

_JUDGED = {Level.GROUND: "too low", Level.WATCH: "low", Level.CLEAR: "enough", None: NONE}
_MEASURED = (
    "Carried down the path by the measured resistances, from the packs as they were at landing."
)


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
        if c.voltage_v is not None
    )
    if not rows:
        return None
    return Table(
        caption=f"{before}Voltage to expect in worst cases",
        columns=columns(
            "Place", "Case", ">At, A", "Voltage to expect", ">Restart V", "~>Comfort V", "Margin"
        ),
        rows=rows,
        note=f"{how} Margin, by the limits in force: low is below the comfortable supply or near "
        "the restart level, too low surely near it. All servos stalled at once is shown for "
        "design only." + left_out(places),
    )


def left_out(places: Sequence[Margin] | Sequence[PlaceBudget]) -> str:
    """Worst cases that could not be worked out, with the reasons, each once; "" for none."""
    missing: dict[str, None] = {}
    for case in (c for p in places for c in p.cases if c.voltage_v is None):
        why = f" ({plain(case.note)})" if case.note else ""
        missing.setdefault(f"{CASE_WORD.get(case.case, plain(case.case))}{why}")
    return f" Not worked out: {'; '.join(missing)}." if missing else ""
