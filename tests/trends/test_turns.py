"""Which set of packs flew: by labels, by the data, and each set against the others."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from telemetry.trends.parts import EvidencePart
from telemetry.trends.turns import (
    NO_SET,
    PackSets,
    against_others,
    as_steady_as,
    no_sets,
    proposed_sets,
    stated_sets,
    with_sets,
)
from telemetry.trends.warmth import (
    ACTIVATION_KJ,
    ACTIVATION_SD_KJ,
    DAY_SD,
    by_day,
    coldness,
    time_of_year,
)


def part(y: np.ndarray, sigma: float = 0.08) -> EvidencePart:
    return EvidencePart(
        name="one", at=np.arange(y.size), y=y, se=np.full(y.size, 0.03), sigma=sigma
    )


class TestStated:
    def test_labels_that_come_back_are_sets(self) -> None:
        found = stated_sets(["red", "blue", None, "red", "blue", "blue"])
        assert found is not None
        assert found.labels == ("red", "blue")
        assert found.of.tolist() == [0, 1, NO_SET, 0, 1, 1]
        assert (found.count, found.stated) == (2, True)
        assert found.flights(1).tolist() == [1, 4, 5]

    @pytest.mark.parametrize(
        "labels",
        [
            ["red"] * 5,
            ["red"] * 3 + ["blue"] * 3,  # replaced
            [f"{v:.2f} V" for v in np.linspace(8.0, 8.4, 8)],  # no labels at all
            [None] * 4,
        ],
    )
    def test_what_is_no_turn(self, labels: list[str | None]) -> None:
        assert stated_sets(labels) is None

    def test_a_set_that_was_laid_aside_is_not_in_use(self) -> None:
        of = np.array([0, 1, 0, 1] + [0] * 6)
        sets = PackSets(of=of, labels=("red", "blue"))
        assert sets.in_use(0)
        assert not sets.in_use(1)
        assert PackSets(of=of[:9], labels=("red", "blue")).in_use(1)
        assert not no_sets(3).stated


class TestProposed:
    DAYS = tuple(date(2026, 4, 4) + timedelta(days=7 * (k // 3)) for k in range(30))

    @pytest.mark.parametrize("sets", [2, 3, 4])
    def test_sets_that_differ_are_found(self, sets: int) -> None:
        rng = np.random.default_rng(sets)
        level = np.array([0.0, 0.3, -0.1, 0.15])[:sets]
        y = level[np.arange(24) % sets] + 0.06 * rng.standard_normal(24)
        found = proposed_sets([(part(y), 0.0)], [True] * 24, [None] * 24)
        assert found is not None
        assert (found.count, found.stated) == (sets, False)
        assert found.of.tolist() == (np.arange(24) % sets).tolist()

    def test_two_flights_on_each_and_bench_recordings_take_no_turn(self) -> None:
        flown = [k != 5 for k in range(25)]
        number = np.cumsum(flown) - 1
        turn = number // 2 % 3
        y = np.array([0.0, 0.35, -0.2])[turn] + 0.05 * np.random.default_rng(8).standard_normal(25)
        found = proposed_sets([(part(y), 0.0)], flown, [None] * 25)
        assert found is not None
        assert found.of.tolist() == [t if f else NO_SET for t, f in zip(turn, flown, strict=True)]

    def test_each_day_begins_with_the_first_set(self) -> None:
        # Two flights on one day, three on the next.
        days = [d for k in range(5) for d in [date(2026, 4, 1 + k)] * (2 + k % 2)]
        turn = np.array([j for k in range(5) for j in range(2 + k % 2)])
        y = np.array([0.0, 0.4, -0.2])[turn] + 0.05 * np.random.default_rng(9).standard_normal(12)
        found = proposed_sets([(part(y), 0.0)], [True] * 12, days)
        assert found is not None
        assert found.of.tolist() == turn.tolist()

    def test_one_set_that_has_become_another_is_found(self) -> None:
        k = np.arange(21)
        y = 0.06 * np.random.default_rng(10).standard_normal(21) + 0.5 * ((k % 3 == 1) & (k >= 12))
        found = proposed_sets([(part(y), 0.0)], [True] * 21, [None] * 21)
        assert found is not None
        assert found.of.tolist() == (k % 3).tolist()

    def test_nothing_is_made_of_scatter_days_or_age(self) -> None:
        """Of 60 healthy seasons of each kind none is split: 1,000 to 1 is asked for."""
        flown = [True] * 24
        for seed in range(60):
            rng = np.random.default_rng([seed, 11])
            noise = 0.08 * rng.standard_t(5, 24)
            assert proposed_sets([(part(noise), 0.0)], flown, [None] * 24) is None
            warm = np.repeat(0.12 * rng.standard_normal(8), 3)
            cold = part(noise + warm, 0.10)
            assert proposed_sets([(cold, DAY_SD)], flown, self.DAYS[:24]) is None
            aged = part(noise + 0.03 * np.arange(24))
            assert proposed_sets([(aged, 0.0)], flown, [None] * 24) is None

    def test_too_few_flights_tell_nothing(self) -> None:
        y = np.array([0.0, 1.0, 0.0, 1.0])
        assert proposed_sets([(part(y), 0.0)], [True] * 4, [None] * 4) is None
        assert proposed_sets([], [True] * 9, [None] * 9) is None


class TestAgainstOthers:
    SETS = PackSets(of=np.array([0, 1, 2] * 3), labels=("",) * 3)

    def test_the_nearest_earlier_flight_of_each_other_set(self) -> None:
        y = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0])
        found = against_others(part(y), self.SETS, 1)
        assert found is not None
        assert found.at.tolist() == [1, 4, 7]
        # The first has one other set before it and takes the next one's, the later ones both.
        assert found.y.tolist() == [
            2.0 - (1.0 + 4.0) / 2,
            16.0 - (8.0 + 4.0) / 2,
            128.0 - (64.0 + 32.0) / 2,
        ]
        square = 0.08**2 + 0.03**2
        assert (found.sigma * found.spread) ** 2 == pytest.approx([1.5 * square] * 3)

    def test_a_first_turn_is_held_against_the_turns_after_it(self) -> None:
        """Else a set with three turns since it went weak has one healthy turn beside them."""
        found = against_others(part(np.arange(9.0)), self.SETS, 0)
        assert found is not None
        assert found.at.tolist() == [0, 3, 6]
        assert found.y.tolist() == [-1.5, 1.5, 1.5]

    def test_what_all_share_is_in_none(self) -> None:
        cold = coldness(np.linspace(25.0, -5.0, 9))
        warm = part(ACTIVATION_KJ * cold).explained_by(
            cold[:, None], [ACTIVATION_KJ], [ACTIVATION_SD_KJ]
        )
        found = against_others(warm, self.SETS, 2)
        assert found is not None
        assert found.bare == pytest.approx([0.0] * 3, abs=1e-12)

    def test_nothing_where_no_other_set_is_near(self) -> None:
        sets = PackSets(of=np.array([0] + [1] * 9), labels=("a", "b"))
        found = against_others(part(np.zeros(10)), sets, 1)
        assert found is not None
        assert found.at.tolist() == [1, 2, 3, 4, 5, 6]
        alone = PackSets(of=np.array([0] + [-1] * 8 + [1]), labels=("a", "b"))
        assert against_others(part(np.zeros(10)), alone, 0) is None

    def test_scatter_is_known_from_the_steps_of_all_sets(self) -> None:
        rng = np.random.default_rng(12)
        y = 0.02 * rng.standard_normal(60)
        y[30:] += 1.0  # one step among many
        own = part(y)
        found = as_steady_as(own, [own] * 3)
        told = found.weight - own.weight
        assert told == pytest.approx(177 * 0.37 / 2)
        # The median step of a normal scatter, shrunk to what was known beforehand.
        seen = (0.02 / own.spread[0]) ** 2
        square = (own.weight * own.sigma**2 + told * seen) / found.weight
        assert found.sigma == pytest.approx(float(np.sqrt(square)), rel=0.1)
        assert as_steady_as(own, [part(y[:3])]) is own


def test_differences_of_sets_are_covariates() -> None:
    sets = PackSets(of=np.array([0, 1, NO_SET]), labels=("a", "b"))
    found = with_sets(part(np.zeros(3)), sets)
    assert found.design is not None
    assert found.design.tolist() == [[1.0, 0.0], [0.0, 1.0], [0.0, 0.0]]
    assert with_sets(found, no_sets(3)) is found


class TestWarmth:
    def test_coldness_against_the_gas_constant(self) -> None:
        # CODATA: 8.314462618 J/(mol K); from 293.15 K to 273.15 K.
        expected = 1000.0 / 8.314462618 * (1.0 / 273.15 - 1.0 / 293.15)
        assert coldness(np.array([0.0, 20.0])) == pytest.approx([expected, 0.0])

    def test_a_year_has_no_end(self) -> None:
        days = [date(2026, 12, 31), date(2026, 1, 1), None, date(2026, 7, 2)]
        found = time_of_year(days)
        assert found[0] == pytest.approx(found[1], abs=0.03)
        assert found[2].tolist() == [0.0, 0.0]
        assert found[3] == pytest.approx(-found[1], abs=0.03)
        assert time_of_year([None, None]).tolist() == [[0.0, 0.0]] * 2

    def test_a_day_is_one_value(self) -> None:
        days = [date(2026, 5, 1)] * 2 + [date(2026, 5, 2)]
        found = by_day(part(np.array([0.0, 1.0, 3.0]), 0.1), days)
        assert found.at.tolist() == [1, 2]
        assert found.y.tolist() == [0.5, 3.0]
        own = 0.1**2 + 0.03**2
        spread = (found.sigma * found.spread) ** 2
        assert spread == pytest.approx([DAY_SD**2 + own / 2, DAY_SD**2 + own])
