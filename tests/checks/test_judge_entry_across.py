"""The entry of the judging: how flights are listed, what shares the false alarms, the order."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.checks import across
from telemetry.checks.across import charts_at, judge, listed_as
from telemetry.checks.aircraft_history import AircraftHistory, JudgedAcross, Unjudged
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Across, Check, CheckPart
from telemetry.checks.draft import FindingDraft, Words
from telemetry.results import HistoryFlight, Level, NoteMark, NotJudged
from telemetry.trends.measures import Blocks
from telemetry.trends.table import FeatureTable

Make = Callable[..., Any]


def test_flights_are_numbered_from_1(make_flight: Make) -> None:
    flights = [
        make_flight(file="a.csv", start="2026-05-01T10:00:00", duration_s=9.0, flight_s=4.0),
        make_flight(kind="bench"),
    ]
    first, second = (listed_as(k, m) for k, m in enumerate(flights, 1))
    assert (first.id, first.file, first.start) == ("1", "a.csv", "2026-05-01T10:00:00")
    assert (first.kind, first.duration_s, first.flight_s) == ("flight", 9.0, 4.0)
    assert (second.id, second.kind) == ("2", "bench")


@pytest.mark.parametrize(
    ("features", "charts"),
    [
        ((), 1),
        (("branch_mohm",), 2),
        (("apparent_mohm",), 2),
        (("source_mohm",), 2),
        (("offset_v",), 4),
        (("share",), 4),
        (("counter_ratio",), 4),
        (("end_v",), 2),
        (("falls",), 4),
        (("rest_a", "stir_mean_a"), 1),
        (("branch_mohm", "rest_a", "offset_v", "falls"), 10),
    ],
    ids=str,
)
def test_charts_of_features(make_flight: Make, features: tuple[str, ...], charts: int) -> None:
    """A rise alone, or a rise and a fall, of each that any flight has; here at two places."""
    rows = [make_flight({(p, f): 1.0 for f in features}) for p in ("tail", "left wing")]
    assert charts_at(FeatureTable(rows), Aircraft()) == charts


def test_charts_of_currents_and_of_each_place(make_flight: Make) -> None:
    """Rise, silence, heating, and rest up and down of each node, and their balance."""
    blocks = Blocks(block_s=1.0, amps={p: np.ones(4) for p in ("tail", "left wing", "bus")})
    table = FeatureTable([make_flight({("tail", "end_v"): 1.0, ("bus", "end_v"): 1.0}, air=blocks)])
    assert charts_at(table, Aircraft()) == 2 * 5 + 2 + 2


def made_check(code: str, words: Words, *functions: Across) -> Check:
    return Check(
        code=code,
        part=CheckPart.SUPPLY,
        question="Is it well?",
        meaning="It is not.",
        bench="look.",
        words_across=words,
        across=functions,
    )


NO_COLUMN = NotJudged.NO_COLUMN


@pytest.fixture
def judges(monkeypatch: pytest.MonkeyPatch) -> list[AircraftHistory]:
    """Two functions of three checks, whose findings are made up; the cases they got."""
    cases: list[AircraftHistory] = []

    def one(case: AircraftHistory) -> JudgedAcross:
        cases.append(case)
        levels = (Level.WATCH, Level.GROUND)
        drafts = [FindingDraft(code=f"one {x}", level=x, place=None, title="") for x in levels]
        return JudgedAcross(
            drafts=drafts, not_judged=[Unjudged(("other",), None, NO_COLUMN, "something")]
        )

    def other(_case: AircraftHistory) -> JudgedAcross:
        draft = FindingDraft(code="other", level=Level.WATCH, place=None, title="")
        return JudgedAcross(
            drafts=[draft], not_judged=[Unjudged(("other",), None, NO_COLUMN, "more")]
        )

    words = Words(("a cause",), "Look.", "Do it.", kinds=(CauseKind.CONTACT,))
    checks = [
        made_check("one watch", words, one),
        made_check("other", words, one, other),
        made_check("one ground", words, one),
    ]
    monkeypatch.setattr(across, "CHECKS", checks)
    monkeypatch.setattr(across, "CODES", {check.code: check for check in checks})
    return cases


def test_findings_come_worst_first(make_flight: Make, judges: list[AircraftHistory]) -> None:
    flights = [make_flight({("tail", "end_v"): (6.0, 5.0, 7.0)}), make_flight()]
    note = NoteMark(kind="changed", place="tail", text="", date="2026-05-01", before=1)
    history = judge(flights, [note], Aircraft(name="wren"))
    assert [f.code for f in history.findings] == ["one ground", "one watch", "other"]
    assert history.not_judged == ("something", "more")
    assert (history.name, history.notes) == ("wren", (note,))
    (feature,) = history.features
    assert (feature.flight, feature.place, feature.feature) == ("1", "tail", "end_v")
    assert (feature.value, feature.low, feature.high) == (6.0, 5.0, 7.0)
    (case,) = judges
    assert (case.charts, case.notes, case.aircraft.name) == (1, (note,), "wren")
    assert [f.id for f in case.listed] == ["1", "2"]


def test_names_that_are_given_are_taken(make_flight: Make, judges: list[AircraftHistory]) -> None:
    listed = [HistoryFlight(id="r1", start=None, file="a")]
    history = judge([make_flight()], name="tern", listed=listed)
    assert (history.name, history.flights) == ("tern", tuple(listed))
    assert history.aircraft == Aircraft()
    assert [f.id for f in judges[0].listed] == ["r1"]


@pytest.mark.usefixtures("judges")
def test_every_flight_needs_its_name(make_flight: Make) -> None:
    listed = [HistoryFlight(id="r1", start=None, file="a")]
    with pytest.raises(ValueError, match="longer"):
        judge([make_flight(), make_flight()], listed=listed)


def test_no_flights_no_findings(judges: list[AircraftHistory]) -> None:
    history = judge([])
    assert (history.flights, history.findings, history.not_judged) == ((), (), ())
    assert judges == []
