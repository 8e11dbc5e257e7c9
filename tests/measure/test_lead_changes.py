"""Leads whose resistance changed in the air: voltages by Ohm's law, currents made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.measure.leads.changes import lead_changes
from telemetry.model.channels import Quantity
from telemetry.results import LeadChange, Phase, PhaseKind, Resistance

V, I = Quantity.VOLTAGE, Quantity.CURRENT  # noqa: E741
CRAFT = Aircraft.model_validate(
    {
        "bus": "bus",
        "packs": [{"name": "pack 1"}],
        "nodes": [{"name": "left wing", "fed_from": "bus"}],
    }
)
T = np.arange(0.0, 240.0, 0.1)
AMPS = np.random.default_rng(4).uniform(0.5, 4.0, 80).repeat(30)
LEAD = Resistance(
    kind="branch", place="left wing", parent="bus", mohm=30.0, low_mohm=28.0, high_mohm=32.0,
    updates=400,
)  # fmt: skip


def changes(
    make_readings,
    mohm: np.ndarray,
    lead: Resistance = LEAD,
    phases: tuple[Phase, ...] = (),
    until: int = T.size,
    noise_v: float = 0.003,
) -> tuple[LeadChange, ...]:
    rng = np.random.default_rng(7)
    bus = 8.0 + noise_v * rng.standard_normal(T.size)
    wing = 8.0 - mohm / 1000.0 * AMPS + noise_v * rng.standard_normal(T.size)
    series = {("bus", V): bus, ("left wing", V): wing, ("left wing", I): AMPS}
    made = make_readings(
        {key: (T[:until], v[:until]) for key, v in series.items()},
        update_s=0.1, resolution=0.01, row_s=0.1,
    )  # fmt: skip
    return lead_changes(made, CRAFT, phases, (lead,))


@pytest.mark.parametrize(("start_s", "end_s"), [(120.0, None), (90.0, 150.0), (0.0, 60.0)])
def test_a_lead_with_more_resistance_for_some_time(
    start_s: float, end_s: float | None, make_readings
) -> None:
    late = (start_s <= T) & ((end_s or np.inf) > T)
    (found,) = changes(make_readings, np.where(late, 60.0, 30.0))
    assert (found.place, found.parent) == ("left wing", "bus")
    if start_s > 0.0:
        assert found.usual_mohm == pytest.approx(30.0, abs=2.0)
        assert found.change_mohm == pytest.approx(30.0, abs=3.0)
        assert found.start_s == pytest.approx(start_s, abs=3.1)
        assert not found.from_start
        length = (T[-1] if end_s is None else end_s) - start_s
        assert found.seconds == pytest.approx(length, abs=6.1)
    assert abs(found.change_mohm) > 5.0 * found.error_mohm
    if end_s == 150.0:
        assert found.end_s == pytest.approx(end_s, abs=3.1)
        assert found.rms_a == pytest.approx(float(np.sqrt(np.mean(AMPS[late] ** 2))), rel=0.05)


def test_a_sound_lead_tells_what_would_have_shown(make_readings) -> None:
    (found,) = changes(make_readings, np.full(T.size, 30.0))
    assert abs(found.change_mohm) < 5.0 * found.error_mohm
    assert 0.0 < found.error_mohm < 3.0


def test_what_a_stir_shows_is_left_out(make_readings) -> None:
    bad = np.where((T >= 90.0) & (T < 150.0), 60.0, 30.0)
    stir = Phase(kind=PhaseKind.STIR, start_s=90.0, end_s=150.0)
    (found,) = changes(make_readings, bad, phases=(stir,))
    assert abs(found.change_mohm) < 5.0 * found.error_mohm
    flight = replace(stir, kind=PhaseKind.FLIGHT)
    (found,) = changes(make_readings, bad, phases=(flight,))
    assert found.change_mohm == pytest.approx(30.0, abs=3.0)


@pytest.mark.parametrize(
    "lead",
    [replace(LEAD, kind="apparent"), replace(LEAD, parent="pack 1"), replace(LEAD, place="tail")],
)
def test_only_a_branch_whose_own_current_is_logged_is_looked_at(
    lead: Resistance, make_readings
) -> None:
    assert changes(make_readings, np.full(T.size, 30.0), lead=lead) == ()


def test_a_moment_of_readings_tells_of_no_change(make_readings) -> None:
    assert changes(make_readings, np.full(T.size, 30.0), until=7) == ()
    assert changes(make_readings, np.full(T.size, 30.0), until=60) == ()
