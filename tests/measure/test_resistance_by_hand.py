"""Which resistances a log may tell, against what, and how the fit becomes a record.

The fits themselves have their own tests (tests/numerics); here they are stood in for by one that
keeps what it was asked.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.measure import resistance
from telemetry.measure.resistance import is_regulated, measure_resistances
from telemetry.model.channels import Quantity
from telemetry.numerics.resistance.fitting import Fit
from telemetry.readings import Total
from telemetry.results import OutKind, PackOut, Phase, PhaseKind

U, I = Quantity.VOLTAGE, Quantity.CURRENT  # noqa: E741
T = np.arange(10.0)
CRAFT = Aircraft.model_validate(
    {
        "bus": "bus",
        "packs": [{"name": "pack 1"}, {"name": "pack 2"}],
        "nodes": [
            {"name": "left wing", "fed_from": "bus",
             "lead": {"mm2": 1.0, "length_m": 0.58, "stranded": False}},
            {"name": "left tip", "fed_from": "left wing"},
        ],
    }
)  # fmt: skip
ALONE = Aircraft.model_validate({"bus": "bus", "packs": [{"name": "pack 1"}]})
FIT = Fit(
    ohm=0.05, low_ohm=0.04, high_ohm=0.07, updates=7, scale_s=2.0,
    level_v=0.3, level_low_v=0.2, level_high_v=0.5, method="by hand",
)  # fmt: skip


@pytest.fixture
def asked(monkeypatch) -> list[tuple[tuple[Any, ...], dict[str, Any]]]:
    calls: list[tuple[tuple[Any, ...], dict[str, Any]]] = []

    def fit(*given: Any, **more: Any) -> Fit:
        calls.append((given, more))
        return FIT

    monkeypatch.setattr(resistance, "source_resistance", fit)
    monkeypatch.setattr(resistance, "branch_resistance", fit)
    return calls


def series(text: str) -> dict[tuple[str, Quantity], Any]:
    """ "bus UI, pack 1 U": each place with the quantities that are logged."""
    out = {}
    for part in text.split(", "):
        place, _, what = part.rpartition(" ")
        out |= {(place, {"U": U, "I": I}[q]): (T, T) for q in what}
    return out


def told(found: Any) -> list[str]:
    return [
        f"{r.kind} {r.place} {r.parent or ''} | {r.method.partition('current of ')[2]}"
        for r in found
    ]


BUS_TOLD = "; whether a regulator holds the bus cannot be told"


@pytest.mark.parametrize(
    ("craft", "logged", "found"),
    [
        (CRAFT, "pack 1 UI, pack 2 UI", ["source pack 1  | pack 1", "source pack 2  | pack 2"]),
        # Of two packs the total is not the current of one.
        (CRAFT, "pack 1 U, pack 2 I", ["apparent pack 1  | pack 2"]),
        (CRAFT, "pack 1 U, pack 2 U", []),
        (
            ALONE,
            "pack 1 U, bus UI",
            [
                "source pack 1  | bus",
                f"source bus  | bus{BUS_TOLD}",
                "branch bus pack 1 | bus",
            ],
        ),
        (
            CRAFT,
            "pack 1 U, pack 2 UI, bus UI",
            [
                "apparent pack 1  | bus",
                "source pack 2  | pack 2",
                f"source bus  | bus{BUS_TOLD}",
                "branch bus pack 2 | pack 2",
            ],
        ),
        (CRAFT, "bus U", []),
        (CRAFT, "pack 1 I, pack 2 I, bus U", [
            f"source bus  | the packs or nodes together{BUS_TOLD}",
        ]),
        # Nodes: their own current tells their lead, the whole only an apparent one.
        (CRAFT, "bus U, left wing UI", [
            f"source bus  | left wing{BUS_TOLD}", "branch left wing bus | left wing",
        ]),
        (CRAFT, "bus UI, left wing U", [
            f"source bus  | bus{BUS_TOLD}", "apparent left wing bus | bus",
        ]),
        (CRAFT, "bus I, left wing U", ["apparent left wing  | bus"]),
        (CRAFT, "left wing UI", ["apparent left wing  | left wing"]),
        (CRAFT, "left wing U, bus U", []),
        # The nearest place above that is logged.
        (CRAFT, "bus UI, left wing U, left tip UI", [
            f"source bus  | bus{BUS_TOLD}",
            "apparent left wing bus | bus",
            "branch left tip left wing | left tip",
        ]),
        (CRAFT, "bus UI, left tip UI", [
            f"source bus  | bus{BUS_TOLD}", "branch left tip bus | left tip",
        ]),
        # Places that are none of the path, by themselves.
        (CRAFT, "canopy UI, smoke U", ["source canopy  | canopy"]),
    ],
)  # fmt: skip
def test_what_a_log_tells(craft, logged, found, make_readings, asked) -> None:
    readings = make_readings(series(logged))
    assert told(measure_resistances(readings, craft, (), ())) == found


def test_a_regulator_stands_for_a_bus_and_a_node_that_is_the_bus_is_told_once(
    make_readings, asked
) -> None:
    craft = Aircraft.model_validate({"regulator": "regulator", "packs": [{"name": "pack 1"}]})
    found = measure_resistances(make_readings(series("pack 1 UI, regulator UI")), craft, (), ())
    assert told(found)[1:] == [
        f"source regulator  | pack 1{BUS_TOLD}",
        "branch regulator pack 1 | pack 1",
    ]
    craft = Aircraft.model_validate(
        {"bus": "bus", "nodes": [{"name": "bus"}], "packs": [{"name": "pack 1"}]}
    )
    found = measure_resistances(make_readings(series("bus UI")), craft, (), ())
    assert told(found) == [f"source bus  | bus{BUS_TOLD}"]


@pytest.mark.parametrize(
    ("held", "sources", "words"),
    [(True, None, "regulator holds"), (False, 50.0, ""), (None, 50.0, BUS_TOLD)],
)
def test_a_held_bus_is_refused(held, sources, words, make_readings, asked, monkeypatch) -> None:
    monkeypatch.setattr(resistance, "is_regulated", lambda *_: held)
    found = measure_resistances(make_readings(series("pack 1 UI, bus UI")), CRAFT, (), ())
    bus, branch = found[1:]
    assert (bus.mohm, branch.mohm) == (sources, sources)
    assert branch.parent == "pack 1"
    if held:
        assert words in bus.refused
        assert words in branch.refused
        assert (bus.low_mohm, bus.high_mohm, bus.updates) == (None, None, 0)
    else:
        assert (bus.refused, branch.refused) == ("", "")
        assert bus.method.endswith(words)
        assert ("cannot be told" in bus.method) is (held is None)


def test_what_the_fits_are_given(make_readings, asked) -> None:
    readings = make_readings(
        {
            ("bus", U): (T, T + 1), ("bus", I): (T, T + 2),
            ("left wing", U): (T, T + 3), ("left wing", I): (T, T + 4),
        },
        resolution={"bus": 0.01, "left wing": 0.05},
    )  # fmt: skip
    measure_resistances(readings, CRAFT, (), ())
    (source, of_source), (branch, of_branch) = asked
    assert [(x.t[0], x.v[0], x.step) for x in source] == [(0, 1, 0.01), (0, 2, 0.01)]  # V, A
    assert [(x.t[0], x.v[0], x.step) for x in branch] == [(0, 1, 0.01), (0, 3, 0.05), (0, 4, 0.05)]
    assert of_source == of_branch == {"max_gap_s": 1.0}
    assert branch[0] is source[0], "prepared once"


def flow_of(*places: str) -> Total:
    return Total(LONG, np.ones(LONG.size), 1.0, places)


def test_the_coarsest_of_several_currents_counts(make_readings, asked) -> None:
    logged = series("pack 1 I, pack 2 I, bus U")
    readings = make_readings(logged, resolution={"pack 1": 0.1, "pack 2": 0.02})
    measure_resistances(readings, CRAFT, (), ())
    (((_, whole), _),) = asked
    assert whole.step == 0.1
    assert whole.v.tolist() == (2 * T).tolist()


def test_a_fit_becomes_a_record_in_milliohm(make_readings, asked) -> None:
    found = measure_resistances(make_readings(series("bus U, left wing UI")), CRAFT, (), ())
    wing = found[1]
    assert (wing.mohm, wing.low_mohm, wing.high_mohm) == pytest.approx((50.0, 40.0, 70.0))
    assert (wing.updates, wing.scale_s) == (7, 2.0)
    assert wing.method == "by hand, against the current of left wing"
    # Parent minus place carried to no current is the other way round.
    assert (wing.offset_v, wing.offset_low_v, wing.offset_high_v) == (-0.3, -0.5, -0.2)
    # 0.58 m of 1 mm2 there and back: 2 x 0.58 / 58 = 20 mOhm of copper.
    assert wing.expected_mohm == pytest.approx(20.0)
    assert wing.expected_low_mohm < 20.0 < wing.expected_high_mohm
    tip = measure_resistances(make_readings(series("left wing U, left tip UI")), CRAFT, (), ())[-1]
    assert (tip.place, tip.expected_mohm, tip.expected_low_mohm, tip.expected_high_mohm) == (
        "left tip", None, None, None,
    )  # fmt: skip


def test_moments_left_out_and_refusals_are_said() -> None:
    moments = ((1.0, 2.5), (4.0, 4.5))
    told = resistance.resistance_record(
        Fit(refused="too little", left_out=moments), "source", "bus", flow_of("pack 1", "pack 2")
    )
    assert told.method == (
        "against the current of the packs or nodes together, "
        "without 2.0 s in which the voltage fell too far for the current"
    )
    assert (told.mohm, told.low_mohm, told.high_mohm) == (None, None, None)
    assert (told.refused, told.left_out, told.updates) == ("too little", moments, 0)


def out(start_s: float, end_s: float) -> PackOut:
    return PackOut(
        place="pack 1", kind=OutKind.LOST, start_s=start_s, end_s=end_s, back=True,
        share_before=None, carried_a=None, bus_v=None, own_v=None,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("checks", "outs", "cut"),
    [
        ([(20, 30)], [], [(18, 32)]),  # and 2 s to each side
        ([], [(20, 30)], [(18, 32)]),
        ([(60, 70)], [(20, 30)], [(18, 32), (58, 72)]),
        ([], [], []),
    ],
)
def test_stretches_with_a_pack_off_are_left_out(checks, outs, cut, make_readings) -> None:
    t = np.arange(100.0)
    readings = make_readings({("bus", U): (t, t), ("bus", I): (t[:10], t[:10])})
    phases = [Phase(kind=PhaseKind.REDUNDANCY_CHECK, start_s=a, end_s=b) for a, b in checks]
    phases += [Phase(kind=PhaseKind.STIR, start_s=80, end_s=90)]
    volts, amps = resistance.undisturbed(readings, phases, [out(*o) for o in outs]).channels
    kept = [x for x in t if not any(a <= x < b for a, b in cut)]
    assert volts.t.tolist() == kept
    assert volts.v.tolist() == kept
    assert amps is readings.channels[1]


# Whether a regulator holds the bus: of 200 s, packs that fall from 8 to 7 V

LONG = np.arange(200.0)
FALL = 8.0 - LONG / 200
# The mean of each 5 s lies 0.1 V up and down by turns; over 40 of them and a scatter of 0.29 V of
# the pack, three standard errors of the slope are 3 x 0.1 / (0.289 sqrt(40)) = 0.165.
SWAY = np.where((LONG // 5) % 2, 0.1, -0.1)


def holds(
    make_readings,
    bus: np.ndarray,
    *packs: np.ndarray,
    amps: np.ndarray | None = None,
    craft: Aircraft = CRAFT,
    total: bool = True,
) -> bool | None:
    def logged(v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return (LONG[: v.size], v)

    names = [f"pack {n}" for n in range(1, len(packs) + 1)]
    readings = make_readings(
        {("bus", U): logged(bus)} | {(n, U): logged(v) for n, v in zip(names, packs, strict=True)}
    )
    flow = np.full(LONG.size, 3.3) if amps is None else amps
    whole = Total(LONG[: flow.size], flow, 1.0, ("bus",)) if total else None
    return is_regulated(readings.channels[0], readings.channels[1:], whole, craft)


@pytest.mark.parametrize(
    ("follows", "sway", "held"),
    [
        (1.0, 0.0, False),
        (0.55, 0.0, False),
        (0.45, 0.0, True),
        (0.0, 0.0, True),
        (0.30, 1.0, True),
        (0.38, 1.0, None),
        (0.62, 1.0, None),
        (0.70, 1.0, False),
    ],
)
def test_a_bus_that_follows_less_than_half_of_its_packs_is_held(
    follows, sway, held, make_readings
) -> None:
    assert holds(make_readings, follows * FALL + sway * SWAY, FALL) is held


def test_the_load_is_taken_out_first(make_readings) -> None:
    # Held at 6 V, and as the load grows to 10 A it falls by 1 V, as far as the pack.
    amps = 10.0 * (LONG / 200) ** 2
    assert holds(make_readings, 6.0 - 0.1 * amps, FALL, amps=amps) is True
    assert holds(make_readings, FALL - 0.1 * amps, FALL, amps=amps) is False
    assert holds(make_readings, 6.0 - 0.1 * amps, FALL) is False, "without its current it seems so"


def test_the_higher_pack_counts(make_readings) -> None:
    low = np.full(LONG.size, 6.5)
    for packs in ((FALL, low), (low, FALL)):
        assert holds(make_readings, FALL - 0.3, *packs) is False
        assert holds(make_readings, 6.0 + 0.0 * FALL, *packs) is True


@pytest.mark.parametrize(("seconds", "told"), [(66, False), (67, True), (62, False), (10, False)])
def test_more_than_twelve_blocks_are_needed(seconds, told, make_readings) -> None:
    # Blocks of 5 s that end before the last reading: of readings up to 66 s, thirteen.
    n = seconds
    found = holds(make_readings, FALL[:n], FALL)
    assert found is (False if told else None)
    assert holds(make_readings, FALL, FALL[:n]) is found


@pytest.mark.parametrize(("n", "told"), [(60, False), (61, True)])
def test_blocks_without_a_current_do_not_count(n, told, make_readings) -> None:
    found = holds(make_readings, FALL, FALL, amps=np.full(n, 3.3))
    assert found is (False if told else None)


@pytest.mark.parametrize(("last", "told"), [(69, False), (70, True)])
def test_blocks_begin_where_all_are_known(last, told, make_readings) -> None:
    # From 4 s: 13 edges before 69 s, and so 12 blocks.
    late, whole = (LONG[4 : last + 1], FALL[4 : last + 1]), (LONG, FALL)
    readings = make_readings({("bus", U): late, ("pack 1", U): whole})
    bus, pack = readings.channels
    total = Total(LONG, np.full(LONG.size, 3.3), 1.0, ("bus",))
    assert is_regulated(bus, [pack], total, CRAFT) is (False if told else None)
    assert is_regulated(pack, [bus], total, CRAFT) is (False if told else None)


@pytest.mark.parametrize("silent", ["bus", "pack 1", "load"])
def test_a_block_in_which_one_was_silent_does_not_count(silent, make_readings) -> None:
    def of(name: str, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        on = (LONG < 50) | (LONG >= 60) | (name != silent)
        return LONG[on], v[on]

    readings = make_readings({("bus", U): of("bus", FALL), ("pack 1", U): of("pack 1", FALL)})
    total = Total(*of("load", np.full(LONG.size, 3.3)), 1.0, ("bus",))
    assert is_regulated(readings.channels[0], readings.channels[1:], total, CRAFT) is False


def test_what_leaves_it_open(make_readings) -> None:
    for volts in (7.9, 8.0, 7.3):
        assert holds(make_readings, FALL, np.full(LONG.size, volts)) is None, "it never fell"
    assert holds(make_readings, FALL, FALL, total=False) is None
    assert holds(make_readings, FALL[:0], FALL) is None
    assert holds(make_readings, FALL) is None
    assert holds(make_readings, FALL, FALL[:0]) is None
    named = CRAFT.model_copy(update={"regulated_v": 6.0})
    assert holds(make_readings, FALL, craft=named) is True
    assert holds(make_readings, FALL, FALL[:0], craft=named) is True, "an empty one is none"
    assert holds(make_readings, FALL, FALL, total=False, craft=named) is None


def steady(make_readings: Any, offset_v: float, amps: float) -> Any:
    """A wing 20 mOhm and an offset below the bus, at one current: no resistance can be fitted."""
    t = np.arange(0.0, 200.0, 0.2)
    rng = np.random.default_rng(3)
    noise = lambda: 0.003 * rng.standard_normal(t.size)  # noqa: E731
    table = {
        ("bus", U): (t, 7.4 + noise()),
        ("left wing", U): (t, 7.4 - offset_v - 0.02 * amps + noise()),
        ("left wing", I): (t, amps + noise()),
    }
    found = measure_resistances(make_readings(table), CRAFT, (), ())
    return next(r for r in found if (r.place, r.parent) == ("left wing", "bus"))


@pytest.mark.parametrize("offset_v", [0.0, 0.2, -0.15])
@pytest.mark.parametrize("amps", [0.1, 1.5])
def test_an_offset_without_a_resistance_holds_what_the_lead_may_take(
    make_readings: Any, offset_v: float, amps: float
) -> None:
    wing = steady(make_readings, offset_v, amps)
    assert wing.mohm is None
    assert wing.offset_low_v <= offset_v <= wing.offset_high_v
    assert wing.offset_high_v - wing.offset_low_v == pytest.approx(0.1 * amps, abs=0.003)


@pytest.mark.parametrize("held_off_s", [0.0, 60.0, 1000.0])
def test_the_path_of_a_pack_is_that_of_the_time_in_which_it_gives(
    make_readings: Any, held_off_s: float
) -> None:
    """12 mOhm and 0.03 V to the bus, from when a diode lets it give."""
    t = np.arange(0.0, 300.0, 0.2)
    rng = np.random.default_rng(4)
    amps = np.repeat(1.0 + rng.uniform(0.0, 2.0, t.size // 10), 10)
    gives = t >= held_off_s
    bus = 7.9 - 0.001 * t - 0.02 * amps
    table = {
        ("pack 1", U): (t, np.where(gives, bus + 0.03 + 0.012 * amps, bus - 0.15)),
        ("pack 1", I): (t, np.where(gives, amps, 0.0)),
        ("bus", U): (t, bus),
    }
    table = {k: (t, v + 0.002 * rng.standard_normal(t.size)) for k, (t, v) in table.items()}
    found = measure_resistances(make_readings(table), CRAFT, (), ())
    path = next(r for r in found if (r.place, r.parent) == ("bus", "pack 1"))
    if held_off_s > 300.0:
        assert path.mohm is None or path.low_mohm < 5.0
    else:
        assert path.mohm == pytest.approx(12.0, abs=2.0)
