"""The declared list of checks: whole, without contradiction, and walked in its order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.checks import in_flight as walking
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Possible, Words
from telemetry.checks.facts import FlightFacts, RecordingFacts
from telemetry.checks.listed import CHECKS, CODES
from telemetry.results import Dropout, Evidence, Flight, Level, Origin, Quality, Restart
from tests.checks.test_findings import CRAFT, GOOD, PHASES, brownout, fall, low

Make = Callable[..., Any]

# The codes that the documents of both schemas promise.
OF_A_LOG = {
    "sag-unexplained", "margin-low", "brownout", "restart", "undervoltage", "lead-undersized",
    "branch-resistance-high", "source-resistance-high", "pack-share", "pack-out", "pack-low",
    "pack-weak", "regulator-droop", "switch-step", "servo-not-resting", "servo-current-rising",
    "servo-heating", "servo-silent", "branch-resistance-rising", "contact-intermittent",
    "current-balance", "capacity-mismatch", "sensor-offset", "log-too-thin",
}  # fmt: skip
OF_A_HISTORY = {
    "servo-current-rising", "servo-heating", "servo-silent", "branch-resistance-rising",
    "contact-intermittent", "source-resistance-rising", "pack-weak", "pack-share", "pack-out",
    "supply-dips", "sensor-offset", "capacity-mismatch", "regulator-droop",
}  # fmt: skip


def of_a_log(check: Check) -> bool:
    return bool(check.in_recording or check.in_flight or check.of_outcomes)


def test_every_code_is_declared_once() -> None:
    assert max(Counter(check.code for check in CHECKS).values()) == 1
    assert {c.code for c in CHECKS if of_a_log(c)} == OF_A_LOG
    assert {c.code for c in CHECKS if c.across} == OF_A_HISTORY


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.code)
def test_a_check_is_whole(check: Check) -> None:
    assert (check.words is not None) is of_a_log(check)
    assert (check.words_across is not None) is bool(check.across)
    assert check.question.endswith("?")
    assert check.meaning.endswith((".", ".**"))
    assert check.bench.endswith((".", "?"))
    # Only what one log reports can be reported by the history too, and outlast a good flight.
    of_one_log = check.same_matter or check.closing.note_only or check.worst_by
    assert check.words is not None or not of_one_log
    assert all(CODES[code].across for code in check.same_matter)


def test_what_happened_in_flight_outlasts_a_good_one() -> None:
    lasting = {check.code for check in CHECKS if check.closing.note_only}
    assert lasting == {"brownout", "restart", "pack-out", "sag-unexplained", "servo-silent"}


def test_each_finding_of_a_log_is_declared_by_the_check_of_its_code() -> None:
    """A check names every function that may find it; here they find what they are shown."""
    events = [brownout(Evidence.REAL), fall(300.0, Origin.CONTACT)]
    events += [fall(120.0 + 20.0 * k, Origin.SUPPLY, "bus") for k in range(3)]
    events += [fall(220.0, Origin.SUPPLY, "pack 1")]
    flight = Flight(
        kind="flight", start_s=0, end_s=430, phases=PHASES, events=tuple(events),
        low=(low("bus", 4.2),),
    )  # fmt: skip
    again = Restart(time_s=350.0, place="bus", column="used", before=120.0, after=0.0)
    lost = Dropout(place=None, start_s=0.0, end_s=200.0, kind="blank")
    recording = RecordingFacts(
        aircraft=CRAFT,
        columns=GOOD,
        quality=Quality(
            row_s=0.1, shortest_sure_dip_s=0.1, restarts=(again,), dropouts=(lost,), balance_a=-2.0
        ),
        flights=(flight,),
    )
    facts = FlightFacts(flight=flight, recording=recording)
    seen = set()
    for check in CHECKS:
        for of_recording in check.in_recording:
            for draft in of_recording(recording):
                assert of_recording in CODES[draft.code].in_recording
                seen.add(draft.code)
        for of_flight in check.in_flight:
            for draft in of_flight(facts):
                assert of_flight in CODES[draft.code].in_flight
                seen.add(draft.code)
    assert seen >= {
        "restart", "brownout", "undervoltage", "regulator-droop", "sag-unexplained",
        "current-balance",
    }  # fmt: skip


def test_each_finding_of_a_history_is_declared_by_the_check_of_its_code(
    make_season: Make, make_case: Make
) -> None:
    places = ("left wing", "right wing", "tail")
    craft = Aircraft(bus="bus", nodes=tuple(Node(name=p, fed_from="bus") for p in places))
    flights = make_season(
        3,
        current={"left wing": lambda k: 1.5 if k > 10 else 1.0},
        lead={"tail": lambda k: 60.0 if k > 10 else 0.0},
        events={
            ("right wing", "contact"): lambda k: 5 if k > 15 else 0,
            ("bus", "supply"): lambda k: 5 if k > 15 else 0,
        },
    )
    case = make_case(flights, aircraft=craft)
    seen = set()
    for check in CHECKS:
        for across in check.across:
            for draft in across(case).drafts:
                assert across in CODES[draft.code].across
                seen.add(draft.code)
    assert seen >= {"servo-current-rising", "branch-resistance-rising", "contact-intermittent"}
    assert "supply-dips" in seen


@pytest.fixture
def walked(monkeypatch: pytest.MonkeyPatch) -> Make:
    """Findings of two flights by checks made up."""

    def walked(*checks: Check) -> list[tuple[str, int | None]]:
        monkeypatch.setattr(walking, "CHECKS", checks)
        monkeypatch.setattr(walking, "CODES", {check.code: check for check in checks})
        flights = tuple(
            Flight(kind="flight", start_s=s, end_s=s + 9.0, phases=()) for s in (0.0, 9.0)
        )
        found = walking.judge_log(
            aircraft=Aircraft(),
            columns=(),
            quality=Quality(row_s=0.1, shortest_sure_dip_s=0.1),
            flights=flights,
        ).findings
        return [(f.code, f.flight) for f in found]

    return walked


def made(code: str, **more: Any) -> Check:
    return Check(
        code=code, part=CheckPart.LEADS, question="Is it?", meaning="It is.", bench="look.",
        words=Words(("one cause",), "Look.", "Repair it.", kinds=(CauseKind.CONTACT,)), **more,
    )  # fmt: skip


def draft(code: str, depth_v: float = 0.0, level: Level = Level.WATCH) -> FindingDraft:
    return FindingDraft(
        code=code, level=level, place="tail", title="", evidence={"depth_v": depth_v}
    )


def test_a_family_is_called_once_and_stands_where_its_first_check_does(walked: Make) -> None:
    def family(facts: FlightFacts) -> list[FindingDraft]:
        return [draft("c"), draft("a")] if facts.flight.start_s == 0.0 else []

    def whole(_facts: RecordingFacts) -> list[FindingDraft]:
        return [draft("b")]

    a, b, c = (
        made("a", in_flight=(family,)),
        made("b", in_recording=(whole,)),
        made("c", in_flight=(family,)),
    )
    assert walked(a, b, c) == [("c", 1), ("a", 1), ("b", None)]
    assert walked(b, a, c) == [("b", None), ("c", 1), ("a", 1)]


@pytest.mark.parametrize("lower_is_worse", [False, True])
def test_the_worse_flight_comes_first_by_the_measure_of_the_check(
    walked: Make, lower_is_worse: bool
) -> None:
    def deeper_later(facts: FlightFacts) -> list[FindingDraft]:
        return [draft("a", 1.0 + facts.flight.start_s)]

    check = made("a", in_flight=(deeper_later,), worst_by="depth_v", lower_is_worse=lower_is_worse)
    assert walked(check) == [("a", k) for k in ((1, 2) if lower_is_worse else (2, 1))]
    # Without a measure the order of time stays, and the graver level leads.
    assert walked(made("a", in_flight=(deeper_later,))) == [("a", 1), ("a", 2)]


def test_words_of_its_own_stand_before_those_of_the_code() -> None:
    kind = CauseKind
    standing = Words(("usual",), "Look.", "Repair it.", "Do not fly.", (kind.CONTACT,))
    own = Words(("its cause",), "See.", "Do it.", kinds=(kind.TRIM,))
    plain = FindingDraft(
        code="a",
        level=Level.GROUND,
        place="tail",
        title="t",
        likelier=(Possible(kind.BINDING, "first"),),
        further=(Possible(kind.AIR_LOAD, "last"),),
    )
    found = plain.finding(standing)
    assert found.explanations == ("first", "usual", "last")
    assert [c.kind for c in found.causes] == ["binding", "contact", "air-load"]
    same = replace(plain, likelier=(Possible(kind.CONTACT, "of this case"),), further=())
    assert same.finding(standing).explanations == ("of this case",)
    assert (found.confirm, found.advice) == ("Look.", "Do not fly.")
    given = FindingDraft(code="a", level=Level.WATCH, place=None, title="t", words=own)
    assert given.finding(standing).explanations == ("its cause",)
    assert given.finding(None).advice == "Do it."
    with pytest.raises(ValueError, match="'a'"):
        plain.finding(None)


def test_words_name_the_place_they_are_about() -> None:
    words = Words(("a plug of {place}",), "Look at {place}.", "Repair it.", kinds=(CauseKind.TRIM,))
    found = FindingDraft(code="a", level=Level.WATCH, place="tail", title="t", words=words)
    told = found.finding(None)
    assert (told.explanations, told.confirm) == (("a plug of tail",), "Look at tail.")
    for check in CHECKS:
        for text in (check.words, check.words_across):
            said = () if text is None else (text.confirm, text.advice, *text.explanations)
            assert not any("that plug" in s or "that lead" in s for s in said), check.code
