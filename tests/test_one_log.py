"""The oracle of the matrix of faults and findings: it sees what is planted, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

from tests.accuracy.one_log.kinds import FAULTS, HEALTHY, KINDS
from tests.accuracy.one_log.making import plant
from tests.accuracy.one_log.seeing import LOOKS, correlated, sight
from tests.accuracy.one_log.telling import FOUND
from tests.accuracy.review import run

DRAWS = 24
OF_EACH = {k.sight: k.name for k in reversed(FAULTS)}


def test_there_are_enough_kinds() -> None:
    assert len(FAULTS) >= 30
    assert len(HEALTHY) >= 14
    assert set(OF_EACH) == set(LOOKS)


@pytest.mark.parametrize("name", OF_EACH.values())
def test_the_oracle_sees_what_is_planted(name: str, tmp_path: Path) -> None:
    drawn = (plant(KINDS[name], 3, draw, 0.2, tmp_path) for draw in range(DRAWS))
    assert any(sight(p).visible for p in drawn)


@pytest.mark.parametrize("kind", ["aerobatic", "gusts", "regulated", "direct", "sim healthy"])
def test_the_oracle_sees_nothing_in_healthy_logs(kind: str, tmp_path: Path) -> None:
    p = plant(KINDS[kind], 5, 0, 0.2, tmp_path)
    packs = tuple(n for n in ("pack 1", "pack 2") if (n, "voltage") in p.logged)
    of_packs = {k.sight for k in FAULTS if "pack" in " ".join((*k.places, k.plant))}
    seen = []
    for look in set(LOOKS) - {"dips"}:  # which need a moment of their own
        since = 150.0 if look in ("change", "path", "out") else 0.0
        for where in packs if look in of_packs or look == "path" else p.nodes:
            fault = replace(p, kind=replace(p.kind, sight=look), where=where, since_s=since)
            if sight(fault).visible:
                seen.append((look, where))
    assert seen == []


def test_a_dip_is_seen_at_its_moment_alone(tmp_path: Path) -> None:
    drawn = (plant(KINDS["sim contact"], 3, draw, 0.1, tmp_path) for draw in range(DRAWS))
    p = next(p for p in drawn if sight(p).visible)
    elsewhere = tuple((end + 3.0, end + 3.1) for _, end in p.moments[:1])
    assert not sight(replace(p, moments=elsewhere)).visible


def test_correlated_values_count_as_fewer() -> None:
    # An AR(1) series with coefficient r: (1 + r) / (1 - r) values are worth one (textbook).
    noise = np.random.default_rng(1).standard_normal(40000)
    assert correlated(noise) == pytest.approx(1.0, abs=0.1)
    assert correlated(lfilter([1], [1, -0.8], noise)) == pytest.approx(9.0, rel=0.15)


def test_a_fault_goes_the_whole_way() -> None:
    outcome = run("stall long", 6)
    assert outcome.visible
    assert outcome.came_to == FOUND
    assert outcome.where in {t.place for t in outcome.told}


def test_a_contact_shows_though_steps_hide_the_fall_per_ampere() -> None:
    """Moments of up to 1.1 V at a tail that its load moves by less than a step of 10 mV."""
    told = run("sim contact", 73002).told
    assert [(t.code, t.place) for t in told] == [("sag-unexplained", "tail")]


def test_what_made_a_low_supply_low_is_no_false_accusation() -> None:
    """Packs that lose two fifths of their voltage in a stir, down to 3.6 V."""
    told = run("old but fine", 103002).told
    assert "source-resistance-high" in {t.code for t in told}
    assert all(t.so for t in told)
