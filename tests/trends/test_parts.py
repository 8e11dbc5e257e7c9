"""Scores of one feature, the weighing of several, odds: numbers small enough for paper."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt
from typing import Any

import numpy as np
import pytest
from scipy import stats

from telemetry.trends.parts import EvidencePart, KnownScores, log_odds, moved_since, weigh

# With a scatter known as well as from a milliard flights, the n-th value is predicted by the mean
# of those before it, with deviation sigma sqrt(1 + 1/(n - 1)).
KNOWN = 1e9


def part(y: list[float], *, at: list[int] | None = None, **more: object) -> EvidencePart:
    plain: dict[str, object] = {
        "name": "made",
        "at": np.arange(len(y)) if at is None else np.array(at, dtype=np.int64),
        "y": np.array(y),
        "se": np.zeros(len(y)),
        "sigma": 1.0,
        "weight": KNOWN,
    }
    return EvidencePart(**{**plain, **more})  # type: ignore[arg-type]


def learnt(*flags: int) -> np.ndarray:
    return np.array(flags, dtype=bool)


class TestScores:
    def test_usual_scatter_is_worth_four_flights_and_then_learnt(self) -> None:
        found = part([0.0, 1.0, 1.0], weight=4.0).scores(np.ones(3, dtype=bool))
        # Squares 4 of 4 flights; the second adds 1/2 over its own variance of 2, and is the fifth.
        assert found.scale[1:] == pytest.approx([sqrt(2.0), sqrt(4.5 / 5 * 1.5)], rel=1e-6)
        assert found.predicted[1:] == pytest.approx([0.0, 0.5], abs=1e-6)
        default = EvidencePart(
            name="", at=np.arange(3), y=np.array([0.0, 1.0, 1.0]), se=np.zeros(3), sigma=1.0
        )
        assert default.scores(np.ones(3, dtype=bool)).scale == pytest.approx(found.scale)
        assert (default.response, default.doubt) == (1.0, 0.0)

    def test_error_of_a_value_adds_to_the_scatter_in_square(self) -> None:
        # sigma 2, error 3: variance 4 + 9 of the last; the two before it leave 4 / 2.
        found = part([0.0, 0.0, 1.0], se=np.array([0.0, 0.0, 3.0]), sigma=2.0).scores(
            np.ones(3, dtype=bool)
        )
        assert found.scale[2] == pytest.approx(sqrt(4 + 9 + 2), rel=1e-6)

    def test_a_wild_flight_is_learnt_as_three_deviations_off(self) -> None:
        # Third value: off by 100, learnt as 3 sqrt(1.5); a third of that goes into the mean.
        found = part([0.0, 0.0, 100.0, 0.0]).scores(np.ones(4, dtype=bool))
        assert found.predicted[3] == pytest.approx(3 * sqrt(1.5) / 3, rel=1e-6)

    def test_flights_are_learnt_from_by_their_own_number(self) -> None:
        found = part([0.0, 6.0, 1.0], at=[1, 3, 4]).scores(learnt(0, 1, 0, 0, 1))
        # Flight 3 is not learnt: flight 4 is predicted by flight 1 alone.
        assert found.predicted[2] == pytest.approx(0.0, abs=1e-6)


def test_since_keeps_the_flight_it_names() -> None:
    whole = part([1.0, 2.0, 3.0], at=[2, 4, 6], se=np.array([0.1, 0.2, 0.3]))
    kept = whole.since(4)
    assert (kept.at.tolist(), kept.y.tolist(), kept.se.tolist()) == ([4, 6], [2, 3], [0.2, 0.3])
    assert kept.design is None
    other = part([1.0, 2.0], design=np.array([[5.0], [6.0]]), slope=np.zeros(1)).since(1)
    assert other.design is not None
    assert other.design.tolist() == [[6.0]]


class TestWeigh:
    def test_one_part_alone_from_its_third_flight_on(self) -> None:
        found = weigh([part([1.0, 3.0, 2.0, 5.0], at=[0, 2, 3, 5])], 7)
        assert found.at.tolist() == [3, 5]
        # Predicted 2 by 1 and 3, then 2 by all three.
        assert found.rise == pytest.approx([0.0, 3.0], abs=1e-6)
        assert found.sd == pytest.approx([sqrt(1.5), sqrt(4 / 3)], rel=1e-6)
        assert found.score == pytest.approx([0.0, 3 / sqrt(4 / 3)], abs=1e-6)
        assert found.doubt == 0.0

    def test_nothing_before_the_third_flight(self) -> None:
        for parts in ([], [part([])], [part([1.0, 2.0])]):
            found = weigh(parts, 5)
            assert (found.at.size, found.rise.size, found.doubt) == (0, 0, 0.0)

    def test_flights_not_learnt_from_do_not_make_a_baseline(self) -> None:
        found = weigh([part([0.0, 2.0, 4.0, 7.0, 9.0])], 5, learnt(1, 0, 1, 0, 0))
        assert found.at.tolist() == [3, 4]
        assert found.rise == pytest.approx([5.0, 7.0], abs=1e-6)  # 7 and 9 over 0 and 4
        assert found.sd == pytest.approx(2 * [sqrt(1.5)], rel=1e-6)

    def test_scores_are_student_t_turned_normal(self) -> None:
        # Prior worth 4 flights, one more learnt (squares stay 4): 5 degrees for the third.
        found = weigh([part([0.0, 0.0, 2.0], weight=4.0)], 3)
        t = 2.0 / sqrt(4 / 5 * 1.5)
        assert found.score == pytest.approx([stats.norm.isf(stats.t.sf(t, 5))], rel=1e-6)

    def test_two_like_parts_hang_together_by_15_percent(self) -> None:
        # Each sqrt(1.5) deviations off: (1 + 1) / sqrt(1 + 1 + 2 x 0.15) of them together.
        one = part([0.0, 0.0, 1.5])
        found = weigh([one, one], 3)
        assert found.score == pytest.approx([2 * sqrt(1.5) / sqrt(2.3)], rel=1e-6)
        assert found.rise == pytest.approx([1.5])
        assert found.sd == pytest.approx([sqrt(1.5 / 2)], rel=1e-6)

    def test_a_part_that_moves_twice_as_far_weighs_twice(self) -> None:
        # Responses 1 and 2: deviations a and a/2, weights of the scores 1 and 2, of the rises
        # 1 and 4; rises 3 and 8/2.
        one, two = part([0.0, 0.0, 3.0]), part([0.0, 0.0, 8.0], response=2.0)
        found = weigh([one, two], 3)
        a = sqrt(1.5)
        assert found.rise == pytest.approx([(1 * 3 + 4 * 4) / 5], rel=1e-6)
        assert found.sd == pytest.approx([a / sqrt(5)], rel=1e-6)
        scores = [3 / a, 8 / a]
        together = (scores[0] + 2 * scores[1]) / sqrt(5 + 0.15 * (9 - 5))
        # A score is cut at 8 deviations: 8 / 1.22 lies below.
        assert found.score == pytest.approx([together], rel=1e-4)

    def test_a_flight_with_one_part_only(self) -> None:
        one, two = part([0.0, 0.0, 3.0, 6.0]), part([0.0, 0.0, 1.0], at=[0, 1, 3])
        found = weigh([one, two], 4)
        assert found.at.tolist() == [2, 3]
        assert found.rise[0] == pytest.approx(3.0, rel=1e-6)
        assert found.sd[0] == pytest.approx(sqrt(1.5), rel=1e-6)
        # Flight 3: one is 6 over 1 (variance 4/3), two 1 over 0 (variance 3/2).
        w = np.array([3 / 4, 2 / 3])
        assert found.rise[1] == pytest.approx((w @ [5.0, 1.0]) / w.sum(), rel=1e-6)

    def test_doubt_grows_with_the_rise_and_takes_weight(self) -> None:
        # Both rise by 4 and 8 over a flat past of two flights, with variance 1.5. First round:
        # mean 6. Then the second one's variance is 1.5 + (0.5 x 6)^2.
        one, two = part([0.0, 0.0, 4.0]), part([0.0, 0.0, 8.0], doubt=0.5)
        found = weigh([one, two], 3)
        w = np.array([1 / 1.5, 1 / (1.5 + 9.0)])
        assert found.rise == pytest.approx([(w @ [4.0, 8.0]) / w.sum()], rel=1e-6)
        assert found.sd == pytest.approx([sqrt(1.5 * (w @ w)) / w.sum()], rel=1e-6)
        assert found.doubt == pytest.approx(w[1] * 0.5 * found.rise[0] / w.sum(), rel=1e-6)

    def test_size_for_the_doubt_is_the_median_of_the_last_three(self) -> None:
        # Judged from flights 0 and 1 alone: rises of 30, 3, -4, -2 in the flights after them; the
        # median of the last three is -2, its size 2.
        y = [0.0, 0.0, 30.0, 3.0, -4.0, -2.0]
        learn = learnt(1, 1, 0, 0, 0, 0)
        found = weigh([part(y, doubt=0.3)], 6, learn)
        assert found.rise == pytest.approx(y[2:], abs=1e-6)
        assert found.doubt == pytest.approx(0.3 * 2.0, rel=1e-6)
        longer = weigh([part([*y, 50.0], doubt=0.3)], 7, learnt(1, 1, 0, 0, 0, 0, 0))
        assert longer.doubt == pytest.approx(0.3 * 2.0, rel=1e-6)  # of -4, -2, 50

    def test_doubt_is_the_median_of_the_last_three_flights(self) -> None:
        # Two parts; the doubtful one alone in the last flights 4 and 5, both in 2 and 3.
        learn = learnt(1, 1, 0, 0, 0, 0)
        both = part([0.0, 0.0, 1.0, 1.0])
        doubtful = part([0.0] * 2 + [1.0] * 4, doubt=0.4)
        found = weigh([both, doubtful], 6, learn)
        # 0.4 in the last two, less in the one before: the median of the three is 0.4.
        assert found.doubt == pytest.approx(0.4, rel=1e-6)
        shared = weigh([both.since(0), doubtful.since(0)], 6, learn)
        assert shared.doubt == found.doubt
        other = part([0.0, 0.0, 1.0, 1.0, 1.0], at=[0, 1, 3, 4, 5])
        found = weigh([other, doubtful], 6, learn)
        w = np.array([1 / 1.5, 1 / (1.5 + 0.4**2)])
        assert found.doubt == pytest.approx(0.4 * w[1] / w.sum(), rel=1e-6)


class TestKnownScores:
    def test_of_a_series_that_grows_they_are_those_of_the_longest(self) -> None:
        rng = np.random.default_rng(5)
        whole = part(
            rng.normal(size=30).tolist(),
            se=np.full(30, 0.2),
            design=rng.normal(size=(30, 1)),
            slope=np.zeros(1),
            slope_sd=np.ones(1),
        )
        known = KnownScores()
        longest = known.of(whole)
        for n in (3, 4, 17, 30):
            begun = whole.until(n)
            for found, alone in zip(known.of(begun), begun.scores(np.ones(n, bool)), strict=True):
                np.testing.assert_allclose(found, alone, rtol=1e-9)
            assert np.shares_memory(known.of(begun).score, longest.score)

    @pytest.mark.parametrize(
        "other",
        [{"sigma": 2.0}, {"weight": 9.0}, {"known": True}, {"se": np.full(9, 0.5)}],
    )
    def test_another_series_has_its_own(self, other: dict[str, Any]) -> None:
        values = [1.0, 2.0, 3.0, 1.5, 2.5, 9.0, 1.0, 2.0, 4.0]
        known, one = KnownScores(), part(values, se=np.zeros(9))
        known.of(one)
        another = replace(one, **other)
        np.testing.assert_array_equal(known.of(another), another.scores(np.ones(9, bool)))

    def test_a_series_that_goes_another_way_has_its_own(self) -> None:
        known, begins = KnownScores(), [1.0, 2.0, 3.0, 1.5]
        known.of(part([*begins, 2.5, 9.0]))
        other = part([*begins, 2.0])
        np.testing.assert_array_equal(known.of(other), other.scores(np.ones(5, bool)))


class TestMovedSince:
    def test_mean_over_the_baseline_and_its_deviation(self) -> None:
        moved = moved_since(part([1.0, 3.0, 5.0, 7.0]), learnt(1, 1, 0, 0))
        # 5 and 7 over 2; each with variance 1 + 1/2, of two flights.
        assert moved == pytest.approx((4.0, sqrt(1.5 / 2)), rel=1e-6)

    @pytest.mark.parametrize(("later", "count"), [(1, 1), (2, 2), (3, 3), (4, 3)])
    def test_no_more_than_three_flights_count(self, later: int, count: int) -> None:
        moved = moved_since(part([0.0, 0.0] + [1.0] * later), learnt(1, 1, *([0] * later)))
        assert moved == pytest.approx((1.0, sqrt(1.5 / count)), rel=1e-6)

    def test_deviation_is_the_mean_of_the_later_ones(self) -> None:
        more = part([0.0, 0.0, 1.0, 1.0], se=np.array([0.0, 0.0, 0.0, 2.0]))
        moved = moved_since(more, learnt(1, 1, 0, 0))
        assert moved is not None
        assert moved[1] == pytest.approx((sqrt(1.5) + sqrt(5.5)) / 2 / sqrt(2), rel=1e-6)

    @pytest.mark.parametrize(
        ("y", "learn"),
        [([], ()), ([1.0, 2.0, 3.0], (1, 1, 1)), ([1.0, 2.0], (1, 0)), ([1.0, 2.0], (0, 0))],
        ids=["no flight", "none after", "one before", "none before"],
    )
    def test_none_without_flights_on_both_sides(self, y: list[float], learn: tuple[int]) -> None:
        assert moved_since(part(y), learnt(*learn)) is None


class TestLogOdds:
    def test_of_two_normal_errors(self) -> None:
        # 3 off the one, 1 off the other, deviation 2: (9 - 1) / (2 x 4).
        assert log_odds(3.0, 2.0, 2.0, 0.0) == pytest.approx((9 - 1) / 8)
        assert log_odds(3.0, 2.0, 0.0, 2.0) == pytest.approx(-1.0)
        assert log_odds(-3.0, 2.0, -2.0, 0.0) == pytest.approx(1.0)

    def test_where_neither_explains_it_the_nearer_is_two_deviations_away(self) -> None:
        # 10 off the nearer: deviation 5, not 1; (12^2 - 10^2) / (2 x 25).
        assert log_odds(12.0, 1.0, 2.0, 0.0) == pytest.approx((144 - 100) / 50)
        # Just two deviations off: the deviation stays.
        assert log_odds(2.0, 1.0, 0.0, 4.0) == pytest.approx(0.0)
        assert log_odds(2.0, 1.0, 0.0, 5.0) == pytest.approx((9 - 4) / 2)
