"""Causes ranked by what one log shows, and consequences told beneath their cause.

What speaks for which cause is what a practised eye weighs (common practice, no source).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from telemetry.checks.causes.consequences import FOLLOWS, with_consequences
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.causes.table import TABLE
from telemetry.checks.leads.in_stretches import CHANGED_WORDS
from telemetry.checks.listed import CHECKS, CODES
from telemetry.checks.packs.low import CROSS_CHARGED, EMPTIED, RUN_DOWN
from telemetry.checks.packs.sources import WEAK
from telemetry.checks.servos import in_flight
from telemetry.checks.supply.droops import DROOP, DROP_OUT
from telemetry.checks.supply.restarts import RESTART_UNDER_LOAD
from telemetry.checks.supply.undervoltage import PACK_UNDER
from telemetry.results import (
    Cause,
    Finding,
    Level,
    Margin,
    Origin,
    OutKind,
    OutSign,
    PackOut,
    PackState,
    PackTwins,
    Resistance,
    Stir,
)
from tests.checks.test_findings import CRAFT, column, fall, found_in, low, stirred

# Words that a check has for some of its cases.
OF_CASES = (
    *(in_flight.RAISED_WORDS, in_flight.MORE_WORDS, in_flight.REST_WORDS, in_flight.HUNT_WORDS),
    *(in_flight.STEADY_WORDS, in_flight.SILENT_WORDS, in_flight.LESS_WORDS, in_flight.HEAT_WORDS),
    in_flight.WHOLE_WORDS,
    *(CHANGED_WORDS, RESTART_UNDER_LOAD),
    *(CROSS_CHARGED, EMPTIED, RUN_DOWN, WEAK, DROOP, DROP_OUT, PACK_UNDER),
)
COLUMNS = tuple(
    column(q, p) for p in ("bus", "left wing", "right wing") for q in ("voltage", "current")
)
SEEN = tuple(
    Margin(place=p, lowest_v=6.4, restart_v=3.5, observed_v=2.9)
    for p in ("bus", "left wing", "right wing")
)


def of(code: str, *events: Any, **parts: Any) -> Finding:
    given = {"columns": COLUMNS, "margins": SEEN}
    (found,) = [f for f in found_in(*events, **{**given, **parts}) if f.code == code]
    return found


def test_the_table_and_the_words_fit_together() -> None:
    assert set(TABLE) == set(CauseKind)
    every = (w for check in CHECKS for w in (check.words, check.words_across) if w is not None)
    for words in (*every, *OF_CASES):
        assert len(words.causes) == len(words.explanations), words.explanations
        assert len(set(words.kinds)) == len(words.kinds), words.explanations
    assert set(FOLLOWS) | {c for x in FOLLOWS.values() for c in x} <= set(CODES)


def test_every_finding_carries_its_causes_in_the_order_of_its_explanations() -> None:
    found = of("sag-unexplained", fall(120.0, Origin.CONTACT))
    assert tuple(c.cause for c in found.causes) == found.explanations
    assert len(found.causes) == 3


def test_a_fall_of_one_place_in_several_readings_is_a_contact() -> None:
    found = of("sag-unexplained", *(fall(120.0 + 20 * k, Origin.CONTACT) for k in range(3)))
    first, *others = found.causes
    assert found.ranked
    assert "contact" in first.cause
    said = " ".join(first.speaks_for)
    assert "no other place fell then (bus, right wing)" in said
    assert "it came 3 times" in said
    assert "3 readings in a row" in said
    assert all("3 readings in a row" in " ".join(c.speaks_against) for c in others)


def test_a_fall_that_a_single_reading_shows_may_be_false() -> None:
    once = fall(120.0, Origin.CONTACT, updates=1)
    beside = fall(120.2, Origin.LOAD, "right wing")
    found = of("sag-unexplained", once, beside)
    by_cause = {c.cause: c for c in found.causes}
    false = next(c for cause, c in by_cause.items() if "false reading" in cause)
    contact = next(c for cause, c in by_cause.items() if "contact" in cause)
    assert "a single reading shows it" in false.speaks_for
    assert "right wing fell at the same moment" in contact.speaks_against
    assert found.causes[0] is false


def test_a_slow_current_hides_peaks() -> None:
    slow = (*COLUMNS[:3], column("current", "left wing", update_s=1.0))
    found = of("sag-unexplained", fall(120.0, Origin.CONTACT, updates=1), columns=slow)
    peak = next(c for c in found.causes if "peak" in c.cause)
    assert "its current comes every 1 s, its voltage every 0.1 s" in peak.speaks_for


def branch(place: str, mohm: float) -> Resistance:
    return Resistance(
        kind="branch", place=place, parent="bus", mohm=mohm, low_mohm=mohm - 2,
        high_mohm=mohm + 2, updates=900,
    )  # fmt: skip


@pytest.mark.parametrize(("own_a", "word", "ranked"), [(0.5, "sensor", True), (1.0, "", False)])
def test_a_current_that_reads_low_makes_a_lead_look_bad(
    own_a: float, word: str, ranked: bool
) -> None:
    """Half the current and twice the resistance: the sensor. As much current: it is the lead."""
    drawn = {"left wing": own_a, "right wing": 1.0}
    places = tuple(stirred(p, 0.2, 0.2, mean_a=a) for p, a in drawn.items())
    stir = Stir(start_s=50, end_s=60, rhythm_hz=None, after_flight=False, places=places)
    pair = (branch("left wing", 60.0), branch("right wing", 30.0))
    found = of("branch-resistance-high", resistances=pair, stirs=(stir,))
    first = found.causes[0]
    if ranked:
        assert found.ranked
        assert word in first.cause
    else:
        assert "sensor" not in first.cause
        sensor = next(c for c in found.causes if "sensor" in c.cause)
        assert sensor.speaks_against


@pytest.mark.parametrize(
    ("sign", "first"), [(OutSign.OPEN, "plug, switch or lead"), (OutSign.DEAD, "protection")]
)
def test_a_lost_pack_is_open_or_cut_off(sign: OutSign, first: str) -> None:
    out = PackOut(
        place="pack 2", kind=OutKind.LOST, start_s=200, end_s=400, back=False, share_before=0.5,
        carried_a=9.0, bus_v=6.4, own_v=0.0, sign=sign,
    )  # fmt: skip
    found = of("pack-out", pack_outs=(out,))
    assert found.ranked
    assert first in found.causes[0].cause
    assert found.causes[0].speaks_for


def twins(**slow: float) -> tuple[PackTwins, ...]:
    one = PackTwins(
        place="pack 1",
        compared_with="pack 2",
        mohm=60.0,
        compared_mohm=30.0,
        times=2.0,
        low_times=1.9,
        high_times=2.1,
    )
    return (replace(one, **slow),)


def test_a_log_without_any_sign_ranks_nothing() -> None:
    found = of("source-resistance-high", twins=twins())
    assert not found.ranked
    assert not any(c.speaks_for or c.speaks_against for c in found.causes)


@pytest.mark.parametrize(
    ("low", "part", "high", "first"),
    [
        (0.2, 0.4, 0.6, "pack 1 has aged or is colder than the other"),
        (-0.1, 0.0, 0.15, "resistance in the plug, switch or lead of pack 1"),
        (0.05, 0.3, 0.6, None),
        (-0.5, -0.2, 0.1, None),  # too wide to tell
    ],
)
def test_cells_answer_a_load_for_seconds_and_a_plug_at_once(
    low: float, part: float, high: float, first: str | None
) -> None:
    of_it = twins(low_slow_part=low, slow_part=part, high_slow_part=high)
    found = of("source-resistance-high", twins=of_it)
    assert (found.causes[0].cause if found.ranked else None) == first


def test_what_follows_from_a_cause_is_told_beneath_it() -> None:
    near = Margin(place="left wing", lowest_v=4.2, restart_v=3.5, observed_v=0.7)
    falls = [fall(120.0 + 20 * k, Origin.CONTACT, residual_v=4.2) for k in range(3)]
    lead = (branch("left wing", 60.0), branch("right wing", 30.0))
    found = found_in(*falls, columns=COLUMNS, margins=(*SEEN[::2], near), resistances=lead)
    told = {f.code: f for f in found}
    assert told["sag-unexplained"].follows_code is None
    for code in ("margin-low", "branch-resistance-high"):
        assert (told[code].follows_code, told[code].follows_place) == (
            "sag-unexplained", "left wing",
        )  # fmt: skip


def test_what_came_elsewhere_or_before_stands_by_itself() -> None:
    near = Margin(place="right wing", lowest_v=4.2, restart_v=3.5, observed_v=0.7)
    falls = [fall(120.0 + 20 * k, Origin.CONTACT) for k in range(3)]
    found = found_in(*falls, columns=COLUMNS, margins=(near,))
    assert {f.follows_code for f in found} == {None}
    # Low a minute before the contact opened.
    low_one = low("left wing", 4.6, lowest_s=110.0)
    found = found_in(fall(200.0, Origin.CONTACT), columns=COLUMNS, low=(low_one,))
    assert {f.follows_code for f in found} == {None}


def test_what_is_graver_than_its_cause_leads() -> None:
    weak = PackState(place="pack 1", role="shared", rest_v=6.0, rest_floor_v=6.6, damage_v=5.0)
    deep = low("bus", 4.0, deep_s=30.0)
    found = found_in(columns=COLUMNS, packs=(weak,), low=(deep,), aircraft=CRAFT)
    assert found[0].code == "undervoltage"
    assert {f.follows_code for f in found} == {None}


def told(code: str, level: Level, place: str, **more: Any) -> Finding:
    causes = (Cause(kind=code, cause=f"of {code}"),)
    return Finding(code=code, level=level, place=place, title=code, causes=causes, **more)


def test_a_chain_of_consequences_is_told_beneath_its_root() -> None:
    """A regulator that is too hot: the bus is lost, a wing with it, and its margin is gone."""
    ground = Level.GROUND
    found = with_consequences(
        [
            told("brownout", ground, "bus", start_s=100.0, end_s=101.0),
            told("margin-low", ground, "left wing", start_s=100.5),
            told("undervoltage", ground, "left wing", start_s=100.5),
            told("regulator-droop", ground, "bus", start_s=140.0),
        ],
        CRAFT,
    )
    head, *rest = found
    assert (head.code, head.follows_code) == ("regulator-droop", None)
    assert {(f.follows_code, f.follows_place) for f in rest} == {("regulator-droop", "bus")}
    # One cause: what follows has those of its cause.
    assert {f.causes for f in found} == {head.causes}


def test_no_code_follows_from_itself_by_any_way() -> None:
    def reached(code: str, by: tuple[str, ...] = ()) -> set[str]:
        assert code not in by, (*by, code)
        return {code}.union(*(reached(c, (*by, code)) for c in FOLLOWS.get(code, {})))

    assert reached("pack-out") > {"undervoltage", "margin-low"}
    assert all(reached(code) for code in FOLLOWS)


def test_across_flights_one_bad_lead_is_told_once() -> None:
    found = with_consequences(
        [
            told("contact-intermittent", Level.WATCH, "tail", since_flight="9"),
            told("sag-unexplained", Level.GROUND, "tail", since_flight="9"),
            told("branch-resistance-rising", Level.GROUND, "tail", since_flight="7"),
            told("contact-intermittent", Level.WATCH, "left wing"),
        ],
        CRAFT,
    )
    alone = [(f.code, f.place) for f in found if f.follows_code is None]
    assert alone == [("branch-resistance-rising", "tail"), ("contact-intermittent", "left wing")]
