"""Sharing and lost packs, on hand-made currents and on simulated recordings."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from telemetry.aircraft import Aircraft, infer_path
from telemetry.measure.packs import OutKind, pack_outs
from telemetry.measure.sharing import pack_shares
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import Log, Provenance
from telemetry.readings import Readings, take_readings
from telemetry.results import OutSign, Phase, PhaseKind
from telemetry.simulate import Fault, FaultKind, SimulatedRecording, move, simulate, usual_plan
from tests.simulated.cases import random_pilot, random_telemetry
from tests.simulated.machines import random_aircraft

LOADED = (PhaseKind.FLIGHT, PhaseKind.STIR)


def _log(columns: dict[str, np.ndarray], step_s: float = 0.5) -> Log:
    n = len(next(iter(columns.values())))
    channels = tuple(
        Channel(key=k, column=k, quantity=Quantity(k.split("/")[1]), place=k.split("/")[0])
        for k in columns
    )
    return Log(
        frame=pd.DataFrame(columns, index=pd.Index(np.arange(n) * step_s, name="time_s")),
        channels=channels,
        provenance=Provenance(file="invented.csv", sha256="", size_bytes=0, rows=n),
    )


def _readings(log: Log) -> tuple[Readings, Aircraft]:
    craft = infer_path(log)
    return take_readings(log, craft.limits), craft


def _load(n: int, seed: int = 0) -> np.ndarray:
    """A lively total current, A, in steps of a hundredth."""
    rng = np.random.default_rng(seed)
    return np.round(
        0.5 + 4 * np.abs(np.convolve(rng.normal(size=n + 3), np.ones(4) / 2, "valid")), 2
    )


def _pair(share: float, n: int = 800) -> dict[str, np.ndarray]:
    total = _load(n)
    return {
        "pack 1/current": np.round(share * total, 2),
        "pack 2/current": np.round((1 - share) * total, 2),
        "bus/voltage": np.round(7.6 - 0.03 * total, 2),
    }


WHOLE = ((0.0, 400.0),)
FLIGHT = (
    Phase(kind=PhaseKind.GROUND, start_s=0, end_s=100),
    Phase(kind=PhaseKind.FLIGHT, start_s=100, end_s=300),
    Phase(kind=PhaseKind.GROUND, start_s=300, end_s=400),
)


@pytest.mark.parametrize(("share", "off"), [(0.5, False), (0.4, False), (0.30, True), (0.70, True)])
def test_share_of_a_pair(share: float, off: bool) -> None:
    readings, craft = _readings(_log(_pair(share)))
    first, second = pack_shares(readings, craft, WHOLE)
    assert first.share.value == pytest.approx(share, abs=0.005)
    assert first.share.low <= share <= first.share.high
    assert first.of_changes.value == pytest.approx(share, abs=0.02)
    assert second.share.value == pytest.approx(1 - share, abs=0.005)
    assert (first.off_balance, second.off_balance) == (off, off)


def test_light_load_is_not_judged() -> None:
    """Diodes let the higher pack do all the work until the load pulls it down: 0 to 100 % of a
    light load is no imbalance.
    """
    total = np.where(np.arange(800) % 100 < 50, 0.4, _load(800) + 4)
    one = np.where(total < 1, total, total / 2 + 0.02)
    log = _log({"pack 1/current": np.round(one, 2), "pack 2/current": np.round(total - one, 2)})
    first, _ = pack_shares(*_readings(log), WHOLE)
    assert first.share.value == pytest.approx(0.5, abs=0.01)
    assert not first.off_balance


def test_a_standby_pack_shares_nothing_by_design() -> None:
    readings, craft = _readings(_log(_pair(1.0)))
    standby = craft.model_copy(
        update={"packs": (craft.packs[0], craft.packs[1].model_copy(update={"role": "standby"}))}
    )
    first, second = pack_shares(readings, standby, WHOLE)
    assert (first.share.value, second.share.value) == (1.0, 0.0)
    assert not first.off_balance
    assert not second.off_balance
    assert pack_outs(readings, standby, FLIGHT) == ()


def test_a_pack_without_a_current_gives_the_rest_of_the_bus() -> None:
    columns = _pair(0.4)
    columns["bus/current"] = np.round(columns["pack 1/current"] + columns["pack 2/current"], 2)
    columns["pack 2/voltage"] = np.round(columns["bus/voltage"] + 0.05, 2)
    del columns["pack 2/current"]
    first, second = pack_shares(*_readings(_log(columns)), WHOLE)
    assert first.share.value == pytest.approx(0.4, abs=0.01)
    assert second.place == "pack 2"


@pytest.mark.parametrize("drop", ["pack 2/current", "both"])
def test_one_current_shares_with_nobody(drop: str) -> None:
    columns = _pair(0.5)
    for key in ["pack 1/current", "pack 2/current"] if drop == "both" else [drop]:
        del columns[key]
    assert pack_shares(*_readings(_log(columns)), WHOLE) == ()
    assert pack_outs(*_readings(_log(columns)), FLIGHT) == ()


def _with_out(start_s: float, end_s: float, pack: int = 1) -> Log:
    columns = _pair(0.5)
    total = columns["pack 1/current"] + columns["pack 2/current"]
    t = np.arange(total.size) * 0.5
    out = (t >= start_s) & (t < end_s)
    columns[f"pack {pack}/current"] = np.where(out, 0.0, columns[f"pack {pack}/current"])
    columns[f"pack {3 - pack}/current"] = np.where(out, total, columns[f"pack {3 - pack}/current"])
    columns["bus/voltage"] = np.where(out, columns["bus/voltage"] - 0.3, columns["bus/voltage"])
    return _log(columns)


@pytest.mark.parametrize(
    ("into_a", "gain", "told"), [(0.0, 1.0, True), (1.5, 1.0, False), (0.0, 1.6, True)]
)
def test_a_pack_that_the_other_one_charges_is_not_out(
    into_a: float, gain: float, told: bool
) -> None:
    """A sensor that reads nothing below zero: what the other gives beyond the bus flows into it.

    Where its sensor reads too much all along, that is no sign of it.
    """
    log = _with_out(150, 190)
    columns = {key: log.frame[key].to_numpy() for key in log.frame}
    out = columns["pack 1/current"] == 0.0
    columns["bus/current"] = columns["pack 1/current"] + columns["pack 2/current"]
    columns["pack 2/current"] = gain * columns["pack 2/current"] + np.where(out, into_a, 0.0)
    found = pack_outs(*_readings(_log(columns)), FLIGHT)
    assert [o.place for o in found] == (["pack 1"] if told else [])


@pytest.mark.parametrize(
    ("start_s", "end_s", "kind", "back"),
    [
        (150, 400, OutKind.LOST, False),
        (150, 170, OutKind.LOST, True),
        (40, 48, OutKind.CHECK, True),
        (40, 140, OutKind.LOST, True),
        (10, 95, OutKind.LOST, True),
        (380, 400, OutKind.SWITCHED_OFF, False),
    ],
)
def test_a_pack_that_gives_nothing(start_s: float, end_s: float, kind: OutKind, back: bool) -> None:
    (found,) = pack_outs(*_readings(_with_out(start_s, end_s)), FLIGHT)
    assert (found.place, found.kind, found.back) == ("pack 1", kind, back)
    assert found.start_s == pytest.approx(start_s, abs=1.0)
    assert found.end_s == pytest.approx(end_s, abs=1.5)
    assert found.share_before == pytest.approx(0.5, abs=0.05)
    volts = _with_out(start_s, end_s)
    inside = (volts.time_s >= found.start_s) & (volts.time_s < found.end_s)
    assert found.bus_v == pytest.approx(volts.values("bus/voltage")[inside].min())


def test_a_stretch_that_the_phases_call_a_check_is_one() -> None:
    phases = (
        Phase(kind=PhaseKind.GROUND, start_s=0, end_s=39),
        Phase(kind=PhaseKind.REDUNDANCY_CHECK, start_s=39, end_s=130),
        Phase(kind=PhaseKind.GROUND, start_s=130, end_s=400),
    )
    (found,) = pack_outs(*_readings(_with_out(40, 128)), phases)
    assert found.kind is OutKind.CHECK


def test_one_missed_update_is_no_lost_pack() -> None:
    columns = _pair(0.5)
    columns["pack 1/current"][400] = 0.0
    assert pack_outs(*_readings(_log(columns)), FLIGHT) == ()


def test_nothing_at_light_load_is_the_nature_of_diodes() -> None:
    """On the ground the lower pack gives nothing, in flight it shares: no fault."""
    total = _load(800) + 4
    t = np.arange(800) * 0.5
    total = np.where((t < 100) | (t >= 300), 0.3, total)
    one = np.where(total < 1, 0.0, total / 2)
    log = _log({"pack 1/current": np.round(one, 2), "pack 2/current": np.round(total - one, 2)})
    assert pack_outs(*_readings(log), FLIGHT) == ()


def _simulated(
    seed: int, *, out: bool = False, check: bool = False
) -> tuple[SimulatedRecording, Log]:
    rng = np.random.default_rng(seed)
    craft = random_aircraft(rng, packs=2)
    telemetry = random_telemetry(rng, craft)
    pilot = random_pilot(rng)
    plan = usual_plan(rng, pilot, flight_s=120, check_packs=("pack 1", "pack 2") if check else ())
    faults = (Fault(kind=FaultKind.PACK_OUT, place="pack 1", start=1.0),) if out else ()
    recording = simulate(
        craft, telemetry, move(plan, pilot, pilot.day(rng), rng), rng, faults=faults
    )
    table = recording.table
    channels = tuple(
        Channel(key=c.key, column=c.key, quantity=c.quantity, place=c.place, hold=c.hold)
        for c in table.columns
    )
    time_s = table.time_s - table.time_s[0]
    log = Log(
        frame=pd.DataFrame({c.key: c.values for c in table.columns}, index=time_s),
        channels=channels,
        provenance=Provenance(file="invented.csv", sha256="", size_bytes=0, rows=time_s.size),
    )
    return recording, log


@pytest.mark.parametrize("seed", range(4))
def test_simulated_packs(seed: int) -> None:
    """Random machines, sensors and pilots: the planted outage and checks, and nothing else."""
    recording, log = _simulated(seed)
    readings, craft = _readings(log)
    assert pack_outs(readings, craft, recording.truth.phases) == ()
    spans = [(p.start_s, p.end_s) for p in recording.truth.phases if p.kind in LOADED]
    time_s, flows = recording.time_s, [recording.signals[f"pack {n}/current"] for n in (1, 2)]
    inside = np.zeros(time_s.size, dtype=bool)
    for a, b in spans:
        inside |= (time_s >= a) & (time_s < b)
    busy = inside & (flows[0] + flows[1] > np.quantile((flows[0] + flows[1])[inside], 0.95) / 3)
    true_share = flows[0][busy].sum() / (flows[0] + flows[1])[busy].sum()
    share = pack_shares(readings, craft, spans)[0].share
    assert share.low - 0.02 <= true_share <= share.high + 0.02

    recording, log = _simulated(seed, out=True)
    found = pack_outs(*_readings(log), recording.truth.phases)
    ((place, truth),) = recording.truth.outages
    assert [(o.place, o.kind) for o in found] == [(place, OutKind.LOST)]
    assert found[0].start_s == pytest.approx(truth.start_s, abs=3)

    recording, log = _simulated(seed, check=True)
    found = pack_outs(*_readings(log), recording.truth.phases)
    assert [(o.place, o.kind) for o in found] == [
        ("pack 1", OutKind.CHECK),
        ("pack 2", OutKind.CHECK),
    ]


def _with_volts(above_v: float, out: tuple[float, float]) -> Log:
    """Two packs behind diodes of 20 mV and 15 mOhm; pack 1 gives nothing for a while.

    Meanwhile its own voltage lies above the bus by so much at rest, and more the lower the bus is.
    """
    log = _with_out(*out)
    t = log.time_s
    inside = (t >= out[0]) & (t < out[1])
    frame = log.frame.copy()
    bus = log.values("bus/voltage")
    for n in (1, 2):
        amps = log.values(f"pack {n}/current")
        frame[f"pack {n}/voltage"] = np.round(bus + 0.02 + 0.015 * amps, 2)
    own = np.round(bus[inside].max() + above_v, 2) if above_v > 0 else bus[inside] + above_v
    frame.loc[inside, "pack 1/voltage"] = own
    channels = tuple(
        Channel(key=k, column=k, quantity=Quantity(k.split("/")[1]), place=k.split("/")[0])
        for k in frame.columns
    )
    return Log(frame=frame, channels=channels, provenance=log.provenance)


def test_a_fuller_pack_that_carries_all_leaves_the_other_whole() -> None:
    """Behind diodes the pack with the lower voltage gives nothing until the two have met."""
    assert pack_outs(*_readings(_with_volts(-0.02, (150, 190))), FLIGHT) == ()


@pytest.mark.parametrize(
    ("above_v", "sign"), [(0.15, OutSign.OPEN), (-7.5, OutSign.DEAD)], ids=["open", "dead"]
)
def test_the_voltage_of_a_pack_tells_how_it_was_lost(above_v: float, sign: OutSign) -> None:
    """A way open behind the sensor leaves the pack at its rest voltage, above the loaded bus."""
    (found,) = pack_outs(*_readings(_with_volts(above_v, (150, 400))), FLIGHT)
    assert (found.place, found.kind, found.sign) == ("pack 1", OutKind.LOST, sign)


def test_a_pack_is_lost_by_its_voltage_where_no_current_is_logged() -> None:
    log = _with_volts(-7.5, (150, 400))
    kept = tuple(c for c in log.channels if c.quantity is Quantity.VOLTAGE)
    volts = Log(frame=log.frame[[c.key for c in kept]], channels=kept, provenance=log.provenance)
    (found,) = pack_outs(*_readings(volts), FLIGHT)
    assert (found.place, found.sign, found.share_before) == ("pack 1", OutSign.DEAD, None)


def test_a_voltage_sensor_that_fails_loses_no_pack() -> None:
    log = _with_volts(-7.5, (150, 400))
    frame = log.frame.copy()
    frame["pack 1/current"] = frame["pack 2/current"] = log.values("pack 2/current") / 2
    assert pack_outs(*_readings(Log(frame=frame, channels=log.channels,
                                    provenance=log.provenance)), FLIGHT) == ()  # fmt: skip
