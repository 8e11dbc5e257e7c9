"""Packs that take turns, packs that age or are cold together: seasons of resistances by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Pack
from telemetry.checks.across import judge, replay
from telemetry.results import Finding, History, HistoryFlight, Level
from telemetry.trends.measures import Measures
from telemetry.trends.warmth import coldness

Make = Callable[..., Any]
RISING = "source-resistance-rising"
PAIR = Aircraft(name="Tern (invented)", bus="bus", packs=(Pack(name="pack 1"), Pack(name="pack 2")))
ONE = Aircraft(name="Tern (invented)", bus="bus", packs=(Pack(name="pack 1"),))
# Of a cell that follows Arrhenius's law with 20 kJ/mol, which the program does not know.
_KJ = 20.0
Of = Callable[[int], float]


@pytest.fixture
def fly(make_flight: Make) -> Callable[..., tuple[list[Measures], list[HistoryFlight]]]:
    """Makes flights with two packs of 30 mOhm at 20 degC, or with one.

    ``own`` holds for each pack a function of the flight's number, from 1, that gives the factor on
    its resistance. ``celsius`` is the temperature, logged unless ``logged`` is False; ``labels``
    what was said of the packs; three flights a day, a day a week.
    """

    def fly(
        seed: int,
        *,
        flights: int = 24,
        own: dict[str, Of] | None = None,
        packs: Sequence[str] = ("pack 1", "pack 2"),
        celsius: Of = lambda _k: 18.0,
        logged: bool = True,
        dated: bool = True,
        labels: Callable[[int], str | None] = lambda _k: None,
    ) -> tuple[list[Measures], list[HistoryFlight]]:
        rng = np.random.default_rng([seed, 21])
        made, listed = [], []
        for k in range(1, flights + 1):
            cold = float(np.exp(_KJ * coldness(np.array([celsius(k)]))[0]))
            rows = {}
            for p in packs:
                factor = 1.0 if own is None or p not in own else own[p](k)
                mohm = 30.0 * cold * factor * float(np.exp(0.05 * rng.standard_t(6)))
                rows[p, "source_mohm"] = (mohm, 0.94 * mohm, 1.06 * mohm)
            day = date(2026, 4, 4) + timedelta(days=7 * ((k - 1) // 3))
            m = make_flight(
                rows,
                temperature_c=celsius(k) if logged else None,
                start=f"{day}T1{k % 3}:00:00" if dated else None,
            )
            made.append(m)
            listed.append(HistoryFlight(id=str(k), start=m.start, file="", packs=labels(k)))
        return made, listed

    return fly


def judged(
    flown: tuple[list[Measures], list[HistoryFlight]], until: int | None = None, craft=PAIR
) -> History:
    flights, listed = flown
    return judge(flights[:until], aircraft=craft, listed=listed[:until])


def rising(history: History) -> list[Finding]:
    return [f for f in history.findings if f.code == RISING]


def by_turns(sets: int, weak: int, onset: int, factor: float) -> Of:
    """Of every ``sets``-th flight, from a flight on."""
    return lambda k: factor if k >= onset and k % sets == weak else 1.0


class TestTurns:
    @pytest.mark.parametrize("sets", [2, 3])
    @pytest.mark.parametrize("apart", [0.0, 0.08, 0.2])
    def test_healthy_sets_are_no_finding(self, fly: Make, sets: int, apart: float) -> None:
        for seed in range(6):
            level = np.exp(apart * np.random.default_rng([seed, 3]).standard_normal((2, sets)))
            own = {
                f"pack {i + 1}": (lambda k, row=level[i]: float(row[k % sets])) for i in range(2)
            }
            for until in range(4, 25, 4):
                assert rising(judged(fly(seed, own=own), until)) == []

    @pytest.mark.parametrize("said", [False, True])
    def test_a_weak_pack_of_one_of_three_sets_is_named(self, fly: Make, said: bool) -> None:
        """Since flight 11: found within its fourth turn, as one step of that set."""
        flown = fly(
            1,
            own={"pack 1": by_turns(3, 2, 11, 1.6)},
            labels=(lambda k: ("red", "green", "blue")[k % 3]) if said else (lambda _k: None),
        )
        (found,) = rising(judged(flown, 20))
        assert (found.place, found.level, found.also) == ("pack 1", Level.WATCH, ())
        assert found.since_flight == "11"
        assert found.evidence["set_flights"] == "2, 5, 8, 11, 14, 17, 20"
        assert found.evidence["sets"] == 3
        assert found.evidence["set"] == ("blue" if said else None)
        assert found.evidence["kind"] == "one step"
        assert found.change is not None
        assert found.change.rise == pytest.approx(60.0, abs=20.0)
        named = "set 'blue'" if said else "the set flown on flights ..., 11, 14, 17 and 20"
        assert f"pack 1 of {named}" in found.title
        # It stays while the other sets are flown, and nothing is said of these.
        assert [f.since_flight for f in rising(judged(flown, 22))] == ["11"]
        assert rising(judged(flown, 10)) == []

    def test_a_set_is_named_in_its_third_turn_after_two_healthy_ones(self, fly: Make) -> None:
        """Flown first, its first turn has no other set before it, and counts."""
        weak = {7: 1.3, 10: 1.9, 13: 2.2}
        own = dict.fromkeys(("pack 1", "pack 2"), lambda k: weak.get(k, 1.0))
        for seed in range(4):
            flown = fly(seed, flights=13, own=own, labels=lambda k: "ABC"[k % 3])
            (found,) = rising(judged(flown))
            assert (found.also, found.evidence["set_flights"]) == (("pack 2",), "1, 4, 7, 10, 13")

    def test_said_sets_need_no_turns(self, fly: Make) -> None:
        """Flown as it came: labels alone tell which flights belong together."""
        order = np.random.default_rng(4).integers(0, 3, 30)
        names = ("red", "green", "blue")
        flown = fly(
            2,
            flights=30,
            own={"pack 2": lambda k: 1.7 if k > 15 and order[k - 1] == 1 else 1.0},
            labels=lambda k: names[order[k - 1]],
        )
        (found,) = rising(judged(flown))
        assert (found.place, found.evidence["set"]) == ("pack 2", "green")

    def test_both_packs_of_a_set(self, fly: Make) -> None:
        weak = by_turns(3, 0, 10, 1.7)
        flown = fly(3, own={"pack 1": weak, "pack 2": weak})
        (found,) = rising(judged(flown))
        assert (found.place, found.also) == ("pack 1", ("pack 2",))
        assert found.evidence["set_flights"].startswith("3, 6, 9")
        assert "both" not in found.title

    @pytest.mark.parametrize("logged", [True, False])
    def test_cold_is_common_to_all_sets(self, fly: Make, logged: bool) -> None:
        """One pack, a cold winter: the weak set is told, with a temperature or without."""
        flown = fly(
            4,
            packs=("pack 1",),
            own={"pack 1": by_turns(3, 1, 10, 1.8)},
            celsius=lambda k: 20.0 - 0.8 * k,
            logged=logged,
        )
        found = rising(judged(flown, craft=ONE))
        assert [f.evidence.get("set_flights", "")[:7] for f in found] == ["1, 4, 7"]

    def test_new_packs_in_a_weak_set_are_no_rise_of_the_others(self, fly: Make) -> None:
        flown = fly(
            5, flights=36, own={"pack 1": lambda k: 1.8 if k % 3 == 2 and 8 < k < 22 else 1.0}
        )
        assert rising(judged(flown)) == []

    @pytest.mark.parametrize(
        ("times", "told"), [(1.9, True), (1.3, False)], ids=["aged", "as sets differ"]
    )
    def test_a_set_that_was_weak_from_the_first_flight_on(
        self, fly: Make, times: float, told: bool
    ) -> None:
        """No change, nothing gradual: every third flight is flown with it."""
        weak = by_turns(3, 1, 0, times)
        history = judged(fly(10, own={"pack 1": weak, "pack 2": weak}))
        assert rising(history) == []
        found = [f for f in history.findings if f.code == "pack-weak"]
        assert bool(found) is told
        for one in found:
            assert (one.place, one.also, one.level) == ("pack 1", ("pack 2",), Level.WATCH)
            assert one.evidence["set_flights"].startswith("1, 4, 7")
            assert one.evidence["times"] == pytest.approx(times, rel=0.1)
            assert (one.since_flight, one.change) == ("1", None)

    def test_one_pack_of_a_set_that_was_weak_from_the_first_flight_on(self, fly: Make) -> None:
        history = judged(fly(11, own={"pack 2": by_turns(3, 0, 0, 1.8)}))
        (found,) = (f for f in history.findings if f.code == "pack-weak")
        assert (found.place, found.also) == ("pack 2", ())

    def test_a_set_laid_aside_is_no_longer_judged(self, fly: Make) -> None:
        flown = fly(
            6,
            flights=30,
            own={"pack 1": lambda k: 1.8 if k % 3 == 2 and 8 < k < 18 else 1.0},
            labels=lambda k: ("red", "green", "blue")[k % 3] if k < 18 else ("red", "green")[k % 2],
        )
        assert [f.evidence["set"] for f in rising(judged(flown, 18))] == ["blue"]
        assert rising(judged(flown)) == []


class TestTogether:
    def test_both_ageing_are_found(self, fly: Make) -> None:
        """30 to 66 mOhm in a season, while days differ by 10 K: each against the other is alike."""
        ages = lambda k: 1.0 + max(0, k - 5) * 1.2 / 19  # noqa: E731
        flown = fly(
            7, own={"pack 1": ages, "pack 2": ages}, celsius=lambda k: 18 + 5 * np.sin(k // 3)
        )
        first = next(k for k in range(6, 25) if rising(judged(flown, k)))
        assert first <= 16
        (found,) = rising(judged(flown))
        assert (found.place, found.also) == ("pack 1", ("pack 2",))
        assert found.evidence["temperature"] == "taken out"
        assert found.evidence["kind"] == "gradual"
        assert found.causes[0].kind == "aged"
        assert found.change is not None
        assert found.change.rise == pytest.approx(115.0, abs=30.0)
        assert (found.change.before, found.level) == (pytest.approx(31.0, abs=4.0), Level.GROUND)

    def test_one_of_two_is_no_matter_of_both(self, fly: Make) -> None:
        flown = fly(8, own={"pack 2": lambda k: 2.0 if k > 12 else 1.0})
        (found,) = rising(judged(flown))
        assert (found.place, found.also) == ("pack 2", ())

    def test_a_little_cold_does_not_make_it_of_both(self, fly: Make) -> None:
        """One of two packs ages to 2.4 times, while autumn makes both a fifth worse."""
        autumn = lambda k: 1.0 + 0.25 * max(0, k - 8) / 16  # noqa: E731
        ages = lambda k: autumn(k) * 1.09 ** max(0, k - 12)  # noqa: E731
        flown = fly(12, own={"pack 1": autumn, "pack 2": ages}, logged=False)
        (found,) = rising(judged(flown))
        assert (found.place, found.also) == ("pack 2", ())

    def test_both_of_which_one_is_worse(self, fly: Make) -> None:
        flown = fly(
            9,
            own={
                "pack 1": lambda k: 1.6 if k > 12 else 1.0,
                "pack 2": lambda k: 2.4 if k > 12 else 1.0,
            },
        )
        (found,) = rising(judged(flown))
        assert (found.place, found.also) == ("pack 1", ("pack 2",))

    def test_a_cold_winter_with_a_logged_temperature_is_no_finding(self, fly: Make) -> None:
        for seed in range(8):
            winter = lambda k: 22.0 - 24.0 * k / 24 + 3 * np.sin(1.7 * (k // 3))  # noqa: E731
            for packs, craft in ((("pack 1", "pack 2"), PAIR), (("pack 1",), ONE)):
                flown = fly(seed, packs=packs, celsius=winter)
                for until in range(6, 25, 3):
                    assert rising(judged(flown, until, craft)) == []

    def test_without_a_temperature_cold_is_the_rival_and_never_grounds(self, fly: Make) -> None:
        flown = fly(
            10,
            flights=36,
            own=dict.fromkeys(("pack 1", "pack 2"), lambda k: 3.0 if k > 15 else 1.0),
            logged=False,
        )
        (found,) = rising(judged(flown))
        assert found.level is Level.WATCH
        assert found.change is not None
        assert found.change.rise > 150
        assert "cold" in {c.kind for c in found.causes[:2]}
        assert found.evidence["temperature"] == "not logged"
        assert "no temperature is logged" in found.title
        assert "Log a temperature" in found.confirm
        assert "Do not fly" not in found.advice

    def test_another_season_speaks_for_cold(self, fly: Make) -> None:
        """Without a temperature the days still tell: July before, January since."""
        flights, listed = fly(
            11,
            flights=36,
            own=dict.fromkeys(("pack 1", "pack 2"), lambda k: 2.6 if k > 15 else 1.0),
            logged=False,
        )
        days = [
            date(2025, 7, 1) + timedelta(days=2 * k + (170 if k > 14 else 0)) for k in range(36)
        ]
        dated = [replace(m, start=f"{d}") for m, d in zip(flights, days, strict=True)]
        named = [replace(x, start=f"{d}") for x, d in zip(listed, days, strict=True)]
        found = rising(judge(dated, aircraft=PAIR, listed=named))
        for one in found:
            cold = next(c for c in one.causes if c.kind == "cold")
            assert any("July" in text and "January" in text for text in cold.speaks_for)
        # In one season it is found: of two the year may be all of it.
        assert len(found) <= 1
        assert len(rising(judged((flights, listed)))) == 1

    def test_the_bus_alone_tells_it_too(self, fly: Make) -> None:
        craft = Aircraft(name="Tern (invented)", bus="bus")
        flown = fly(12, packs=("bus",), own={"bus": lambda k: 1.8 if k > 12 else 1.0})
        (found,) = rising(judged(flown, craft=craft))
        assert (found.place, found.level) == ("bus", Level.WATCH)
        assert not any("bus ages" in c.cause for c in found.causes)


def test_a_weak_set_is_one_finding_that_stays_open(fly: Make) -> None:
    flights, listed = fly(1, own={"pack 1": by_turns(3, 2, 11, 1.6)})
    found = [f for f in replay(flights, aircraft=PAIR, listed=listed).findings if f.code == RISING]
    assert [(f.state, f.place, f.since_flight) for f in found] == [("open", "pack 1", "11")]
