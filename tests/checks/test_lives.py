"""The life of findings over hand-made seasons: what opens, stays, closes and opens again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.aircraft import Aircraft
from telemetry.checks.across import judge, replay
from telemetry.checks.check import FITFUL, STEADY
from telemetry.checks.lives import lives_of
from telemetry.results import Cause, Change, Finding, HistoryFlight, Level, NoteMark
from telemetry.trends.measures import Measures, ReportedFinding
from tests.trends.conftest import blocks

Make = Callable[..., Any]
Seen = ReportedFinding | None
W, G, U = Level.WATCH, Level.GROUND, Level.UNKNOWN
CRAFT = Aircraft()


def droop(level: Level, **more: Any) -> ReportedFinding:
    return ReportedFinding(
        "regulator-droop",
        "bus",
        level,
        "bus fell 5 times",
        causes=(Cause(kind="droop", cause="a regulator"),),
        confirm="Load it.",
        advice="Do not fly." if level is G else "Watch it.",
        **more,
    )


def lead(level: Level, mohm: float) -> ReportedFinding:
    return ReportedFinding("branch-resistance-high", "tail", level, "the lead", size=mohm)


def lost(level: Level = G) -> ReportedFinding:
    return ReportedFinding("pack-out", "pack 2", level, "pack 2 stopped in flight", lasts=True)


def mark(before: int, place: str | None = "bus", kind: str = "repaired") -> NoteMark:
    return NoteMark(kind=kind, place=place, text="", date="2026-05-01", before=before)


JUDGED = {
    "regulator-droop": ("bus",),
    "switch-step": ("bus",),
    "pack-out": ("pack 2",),
    "branch-resistance-high": ("tail",),
    "current-balance": ("",),
    "log-too-thin": ("",),
}


def measures(
    *reported: ReportedFinding,
    kind: str = "flight",
    amps: float = 5.0,
    judged: dict[str, tuple[str, ...]] | None = None,
) -> Measures:
    return Measures(
        kind=kind,
        start=None,
        file="",
        duration_s=600.0,
        flight_s=500.0,
        update_s=0.2,
        temperature_c=None,
        features=(),
        air=blocks({"bus": [amps, 1.0]}, {"tail": [7.0]}),
        reported=reported,
        judged=JUDGED if judged is None else judged,
    )


def lived(
    seen: Sequence[Seen | Measures],
    notes: Sequence[NoteMark] = (),
    *,
    bench: Sequence[int] = (),
    together: dict[int, Sequence[Finding]] | None = None,
) -> list[Finding]:
    """What has become of the findings of these flights: None is a flight without one."""
    flights = [
        one
        if isinstance(one, Measures)
        else measures(*((one,) if one else ()), kind="bench" if k in bench else "flight")
        for k, one in enumerate(seen)
    ]
    listed = [
        HistoryFlight(id=str(k), start=f"2026-05-{k:02d}" if k < 32 else None, file=f"f{k}.csv")
        for k in range(1, len(flights) + 1)
    ]
    shown = [(together or {}).get(k, ()) for k in range(len(flights))]
    return lives_of(flights, listed, notes, CRAFT, shown)


def opened(*seen: Seen | Measures, **more: Any) -> list[Finding]:
    return [f for f in lived(seen, **more) if f.state == "open"]


def test_eleven_flights_that_say_the_same() -> None:
    """Six times watch and five times ground: ground, since the first of them."""
    levels = (W, G, W, G, W, W, G, W, G, W, G)
    (found,) = lived([*[None] * 9, *(droop(x) for x in levels)])
    assert (found.code, found.place, found.level) == ("regulator-droop", "bus", G)
    assert (found.since_flight, found.last_flight, found.state) == ("10", "20", "open")
    assert found.evidence == {
        "flights_with": 11,
        "flights_since": 11,
        "gravest_flight": "f20.csv",
    }
    assert found.title == "bus fell 5 times; 11 flights show it, each by itself"
    assert (found.explanations, found.confirm) == (("a regulator",), "Load it.")
    assert found.advice == "Do not fly.", "that of the worst"


@pytest.mark.parametrize(
    ("seen", "level"),
    [
        ((droop(W),), W),
        ((droop(W), None), None),  # one flight alone said watch
        ((droop(W), droop(W), None), W),
        ((droop(W), droop(W), *[None] * (FITFUL - 1)), W),
        ((droop(W), droop(W), *[None] * FITFUL), None),
        ((droop(W), None, None, droop(W), None), W),  # it came back soon: it was not gone
        ((droop(W), *[None] * FITFUL, droop(W), None), None),
        ((droop(G), *[None] * (FITFUL - 1)), G),
        ((droop(G), *[None] * FITFUL), None),
        ((droop(G), droop(W), None), G),
        ((droop(G), *[droop(W)] * FITFUL), W),  # so many flights show it no graver than watch
        ((lead(G, 60), *[None] * (STEADY - 1)), G),
        ((lead(G, 60), *[None] * STEADY), None),
    ],
)
def test_as_many_later_flights_as_the_check_says_close_it(
    seen: Sequence[Seen], level: Level | None
) -> None:
    found = opened(*seen)
    assert [f.level for f in found] == ([] if level is None else [level])
    if level is None:
        told = lived(seen)
        assert all(f.closed_by is not None and f.closed_by.kind == "flights" for f in told)


def test_only_flights_that_would_have_shown_it_count() -> None:
    blind = measures(judged={})
    calm = measures(amps=3.4)  # under 0.7 of the 5 A of the flight that showed it
    loaded = measures(amps=3.6)
    for good, still in ((blind, True), (calm, True), (loaded, False)):
        assert bool(opened(droop(G), *[good] * FITFUL)) is still
    assert opened(droop(G), *[None] * (FITFUL - 1), blind, calm)
    assert not opened(droop(G), *[None] * (FITFUL - 1), blind, calm, None)


def test_a_bench_recording_takes_nothing_back() -> None:
    assert opened(droop(W), None, bench=[1])
    assert not opened(droop(W), None, bench=[0, 1]), "what only the bench showed, it shows gone"
    assert [f.level for f in opened(None, droop(W), bench=[1])] == [W], "what it shows counts"


@pytest.mark.parametrize("level", [W, G])
def test_what_lasts_stands_as_grave_as_it_was(level: Level) -> None:
    (found,) = lived([None, lost(level), *[None] * 40])
    assert (found.code, found.place, found.level) == ("pack-out", "pack 2", level)
    assert (found.since_flight, found.last_flight) == ("2", "2")
    assert found.title.endswith("; not seen in the 40 flights since, but no repair is noted")
    (found,) = lived([lost(level), None, lost(W)._replace(lasts=False)])
    assert (found.level, found.since_flight) == (level, "1"), "a milder one does not change it"


@pytest.mark.parametrize(
    ("note", "stands"),
    [
        (mark(1, "pack 2"), False),
        (mark(1, "pack 2", "changed"), False),
        (mark(1, "all"), False),
        (mark(3, "pack 2"), False),
        (mark(0, "pack 2"), True),
        (mark(1, "pack 1"), True),
        (mark(1, None), True),
        (mark(1, "pack 2", "checked"), True),
        (mark(1, "pack 2", "charged"), True),
    ],
)
def test_only_a_note_at_its_place_closes_a_lost_pack(note: NoteMark, stands: bool) -> None:
    (found,) = lived([lost(), None, None], [note])
    assert (found.state == "open") is stands
    if not stands:
        assert found.closed_by is not None
        by = found.closed_by
        assert (by.kind, by.place, by.before, by.date) == (
            note.kind,
            note.place,
            note.before,
            note.date,
        )


def test_a_note_taken_back_leaves_all_as_it_was() -> None:
    seen = [droop(G), None, droop(W), None]
    with_note = lived(seen, [mark(1)])
    assert [(f.state, f.level) for f in with_note] == [("closed", W), ("closed", G)]
    assert lived(seen, []) == lived(seen)
    assert [f.level for f in opened(*seen)] == [G]


def test_checked_accepts_what_is_seen_until_it_is_a_step_worse() -> None:
    checked = mark(1, "tail", "checked")
    (found,) = lived([lead(W, 40)], [checked])
    assert (found.state, found.closed_by and found.closed_by.kind) == ("closed", "checked")
    assert not opened(lead(W, 40), lead(W, 47), notes=[checked])
    assert [f.level for f in opened(lead(W, 40), lead(W, 48), notes=[checked])] == [W]
    assert [f.level for f in opened(lead(W, 40), lead(G, 41), notes=[checked])] == [G]
    # What was repaired since is no longer accepted.
    repaired = mark(2, "tail")
    assert opened(lead(W, 40), lead(W, 41), lead(W, 41), notes=[checked, repaired])


def rising(level: Level, rise: float) -> Finding:
    change = Change(
        quantity="", unit="mOhm", before=None, now=None, rise=rise, low=0, high=0,
        rise_unit="mOhm", false_alarm=0.05,
    )  # fmt: skip
    return Finding(
        code="branch-resistance-rising", level=level, place="tail", title="rising", change=change,
        since_flight="2",
    )  # fmt: skip


def test_what_the_flights_together_tell_lives_as_well() -> None:
    seen: list[Seen] = [None] * 7
    (found,) = lived(seen, together={4: [rising(G, 30)], 5: [rising(W, 20)]})
    assert (found.level, found.since_flight, found.last_flight) == (G, "2", "6")
    together = {4: [rising(G, 30)]}
    assert not opened(*[None] * (5 + STEADY), together=together)
    accepted = mark(5, "tail", "checked")
    for rise, again in ((37.9, False), (38.0, True)):  # 8 mOhm are its step to watch
        later = {**together, 6: [rising(G, rise)]}
        assert bool(opened(*seen, notes=[accepted], together=later)) is again


def test_a_limit_to_come_is_told_with_the_newest_flight_alone() -> None:
    plain = rising(W, 20)
    assert plain.change is not None
    coming = replace(plain, change=replace(plain.change, flights_to_limit=4))

    def until(flights: int, *shown: int, repaired: int | None = None) -> int | None:
        notes = [] if repaired is None else [mark(repaired, "tail")]
        (found,) = lived([None] * flights, notes, together={k: [coming] for k in shown})
        assert found.change is not None
        return found.change.flights_to_limit

    assert until(5, 4) == 4
    assert until(6, 4) is None
    assert until(6, 4, 5) == 4
    assert until(5, 4, repaired=5) is None


def test_the_same_fault_is_told_once() -> None:
    seen = [None, lead(W, 40), lead(W, 41)]
    (found,) = lived(seen, together={2: [rising(W, 20)]})
    assert found.code == "branch-resistance-rising"
    graver = lived([None, lead(G, 40), lead(G, 41)], together={2: [rising(W, 20)]})
    assert [f.code for f in graver] == ["branch-resistance-high", "branch-resistance-rising"]


def test_a_change_that_is_laid_to_the_mirror_is_held_no_longer() -> None:
    def of(code: str, place: str, since: str) -> Finding:
        return Finding(code=code, level=G, place=place, title="", since_flight=since)

    silent = of("servo-silent", "left wing", "3")
    mirror = of("servo-current-rising", "right wing", "3")
    flights = [
        measures(judged={}),
        *[_at("left wing", "right wing") for _ in range(10)],
    ]
    found = opened(*flights, together={4: [silent]})
    assert [f.code for f in found] == ["servo-silent"]
    later = {k: [mirror] for k in range(5, 11)}
    found = opened(*flights, together={4: [silent], **later})
    assert [f.code for f in found] == ["servo-current-rising"]
    elsewhere = {k: [of("servo-current-rising", "right wing", "8")] for k in range(8, 11)}
    found = opened(*flights, together={4: [silent], **elsewhere})
    assert {f.code for f in found} == {"servo-silent", "servo-current-rising"}


@pytest.mark.parametrize(
    ("at", "told"),
    [
        ("right wing", ["servo-silent"]),  # the flights together say that it is that one
        ("tail", ["servo-current-rising", "servo-silent"]),
        (None, ["servo-current-rising"]),
    ],
)
def test_of_two_places_the_flights_together_say_which(at: str | None, told: list[str]) -> None:
    either = ReportedFinding(
        "servo-current-rising", "left wing", W, "either", or_place="right wing"
    )
    silent = (
        []
        if at is None
        else [Finding(code="servo-silent", level=G, place=at, title="", since_flight="3")]
    )
    flights = [replace(_at("left wing", "right wing"), reported=(either,)) for _ in range(4)]
    found = opened(*flights, together=dict.fromkeys(range(4), silent))
    assert sorted(f.code for f in found) == told


def _at(*places: str) -> Measures:
    return replace(measures(), air=blocks({p: [3.0, 1.0] for p in places}))


def test_a_log_too_thin_is_told_of_the_newest_flight_alone() -> None:
    thin = ReportedFinding("log-too-thin", "", U, "this log cannot tell everything")
    (found,) = lived([None, thin])
    assert found.level is U
    assert lived([thin, thin, None]) == []
    assert lived([None, thin], bench=[1]) == []
    assert [f.level for f in lived([thin, None], bench=[1])] == [U]
    assert [f.level for f in lived([thin], bench=[0])] == [U]


def test_what_has_no_place_is_closed_by_a_note_on_all() -> None:
    seen = ReportedFinding("current-balance", "", W)
    (found,) = opened(seen, seen, notes=[mark(2, "bus")])
    assert found.place is None
    assert opened(seen, seen, notes=[mark(2, "all")]) == []


# Any flight: nothing, a finding at one of two places, of any level, lasting or not, judged or not.
_reported = st.builds(
    lambda code, level, lasts: ReportedFinding(code[0], code[1], level, "t", lasts=lasts),
    st.sampled_from([("regulator-droop", "bus"), ("pack-out", "pack 2"), ("switch-step", "bus")]),
    st.sampled_from([W, G]),
    st.booleans(),
)
_flight = st.builds(
    lambda seen, kind, amps: measures(*seen, kind=kind, amps=amps),
    st.lists(_reported, max_size=2, unique_by=lambda r: r.code),
    st.sampled_from(["flight", "flight", "bench"]),
    st.sampled_from([2.0, 5.0, 9.0]),
)
_note = st.builds(
    mark,
    st.integers(0, 12),
    st.sampled_from(["bus", "pack 2", "all", None]),
    st.sampled_from(["repaired", "changed", "checked", "charged"]),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(_flight, min_size=1, max_size=12), st.lists(_note, max_size=3))
def test_never_milder_than_the_newest_flight_nor_than_what_lasts(
    flights: list[Measures], notes: list[NoteMark]
) -> None:
    notes = sorted((n for n in notes if n.before <= len(flights)), key=lambda n: n.before)
    found = lived(flights, notes)
    open_level = max((f.level for f in found if f.state == "open"), default=Level.CLEAR)
    closing = [n for n in notes if n.place is not None and n.kind != "charged"]
    if not closing:
        newest = max(k for k, m in enumerate(flights) if k == len(flights) - 1)
        assert open_level >= flights[newest].verdict
        lasting = [r.level for m in flights for r in m.reported if r.lasts]
        assert open_level >= max(lasting, default=Level.CLEAR)
        # Nothing graver than what was seen, either.
        assert open_level <= max(m.verdict for m in flights)
    # A flight more changes nothing of what was found before, where it shows nothing and judges
    # nothing.
    more = lived([*flights, measures(judged={})], notes)
    assert [(f.code, f.level, f.state) for f in more] == [(f.code, f.level, f.state) for f in found]
    # Notes on the aircraft as a whole and of a charge close nothing.
    assert lived(flights, closing) == found


def test_the_same_flights_give_the_same_however_they_are_asked(make_season: Make) -> None:
    """One by one as they come, or all at once with what was known of the earlier ones."""
    from telemetry.checks.across import together_at

    craft = Aircraft(name="wren", bus="bus")
    flights = make_season(
        39, flights=12, current={"right wing": lambda k: 1.0 + 0.05 * max(k - 5, 0)}
    )
    notes = [mark(10, "right wing")]
    listed = judge(flights, notes, craft).flights
    known = [together_at(k, flights, notes, craft, listed) for k in reversed(range(12))][::-1]
    whole = replay(flights, notes, craft)
    assert replay(flights, notes, craft, together=known).findings == whole.findings
    assert any(f.closed_by is not None and f.closed_by.kind == "repaired" for f in whole.closed)
    early = replay(flights[:10], [], craft)
    assert early.verdict is max(f.level for f in early.open)
