"""A node that draws what no movement made: currents by hand, on both sides of each limit."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.detect.odd_nodes import steady_at_one, without_restless

LONG = (np.arange(100) >= 40) & (np.arange(100) < 70)


def steps(rise_a: float) -> np.ndarray:
    """0.2 A of rest, and for half a minute so much more."""
    return 0.2 + rise_a * LONG


@pytest.mark.parametrize(
    ("beside_a", "odd_a"),
    [
        (0.0, 0.74),  # 0.8 A less half as much again as the least that counts, 0.04 A
        (0.2, 0.5),
        (0.5, 0.05),
        (0.6, 0.0),  # it may be what all of them do
    ],
)
def test_what_one_draws_steadily_beyond_the_busiest_other(beside_a: float, odd_a: float) -> None:
    nodes = {"left": steps(0.8), "right": steps(beside_a), "tail": steps(0.0)}
    found = steady_at_one(nodes, 1.0)
    assert isinstance(found, np.ndarray)
    assert found[45:65] == pytest.approx(odd_a)
    assert found[:30] == pytest.approx(0.0)
    assert found[80:] == pytest.approx(0.0)


def test_what_is_no_steady_current_of_one_node() -> None:
    blips = 0.2 + 0.8 * (np.arange(100) % 20 == 0)
    assert steady_at_one({"left": blips, "right": steps(0.0)}, 1.0) == pytest.approx(0.0)
    assert steady_at_one({"left": steps(0.8)}, 1.0) == 0.0
    short = {"left": steps(0.8)[35:54], "right": steps(0.0)[35:54]}
    assert steady_at_one(short, 1.0) == 0.0, "two stretches of 10 s at the least"
    enough = {"left": steps(0.8)[35:55], "right": steps(0.0)[35:55]}
    assert np.max(steady_at_one(enough, 1.0)) == pytest.approx(0.74)
    unknown = np.where(LONG, np.nan, steps(0.0))
    found = steady_at_one({"left": steps(0.8), "right": unknown}, 1.0)
    assert np.max(found) == pytest.approx(0.74)


def swings(by_a: float) -> np.ndarray:
    """Up and down by so much from one half second to the next."""
    return 1.0 + by_a * np.where(np.arange(60) % 2, 1.0, -1.0)


@pytest.mark.parametrize(
    ("worst_a", "rest_a", "left_out"),
    [
        (0.25, 0.0625, True),  # four times as much as any other
        (0.25, 0.07, False),
        (0.09, 0.0, False),  # less than 0.1 A
        (0.11, 0.0, True),
    ],
)
def test_a_node_that_never_rests_is_left_out(worst_a: float, rest_a: float, left_out: bool) -> None:
    nodes = {"left": swings(worst_a), "right": swings(rest_a), "tail": swings(0.0)}
    found = without_restless(nodes, 0.5)
    assert (found is not None) is left_out
    if found is not None:
        assert found == pytest.approx(nodes["right"] + nodes["tail"])


def test_a_node_that_rests_at_times_or_is_not_known_is_not_left_out() -> None:
    resting = np.where(np.arange(60) < 6, 1.0, swings(0.25))
    assert without_restless({"left": resting, "right": swings(0.0)}, 0.5) is None
    never = np.full(60, np.nan)
    assert without_restless({"left": never, "right": swings(0.0)}, 0.5) is None
    assert without_restless({"left": swings(0.25)}, 0.5) is None
