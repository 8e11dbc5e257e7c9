"""A place is one place, whatever the words: quantities learned from the pattern of all columns.

Logs of a small random aircraft: two packs, a bus and three nodes, with the names of many hands. The
voltages fall with their currents as Ohm's law has it; nothing else is told of them.
"""

# ruff: noqa: RUF001

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from telemetry import describe_columns, read_log, review
from telemetry.aircraft import infer_path

PLACES = ("pack 1", "pack 2", "bus", "n1", "n2", "n3")
UNITS = {"U": "V", "I": "A", "Q": "mAh", "T": "°C", "P": "W"}
DIGITS = {"U": 3, "I": 2, "Q": 0, "T": 1, "P": 1}


def aircraft(rows: int = 900, seed: int = 2) -> dict[tuple[str, str], np.ndarray]:
    rng = np.random.default_rng(seed)
    t = np.arange(rows) * 0.2
    amps = []
    for _ in range(3):
        drawn = 0.25 + 0.02 * rng.standard_normal(rows)
        for start in rng.integers(10, rows - 20, 30):
            drawn[start : start + rng.integers(3, 14)] += rng.uniform(0.6, 3.5)
        amps.append(drawn)
    total = sum(amps) + 0.6
    out: dict[tuple[str, str], np.ndarray] = {}
    for place, share in (("pack 1", 0.48), ("pack 2", 0.52)):
        out[place, "U"] = 8.3 - 6e-4 * t - 0.03 * share * total + 0.004 * rng.standard_normal(rows)
        out[place, "I"] = share * total
        out[place, "Q"] = np.cumsum(share * total) * 0.2 / 3.6
    out["bus", "U"] = 6.0 - 0.012 * total + 0.004 * rng.standard_normal(rows)
    out["bus", "I"] = total
    for k, drawn in enumerate(amps):
        place = f"n{k + 1}"
        out[place, "U"] = out["bus", "U"] - 0.04 * drawn + 0.004 * rng.standard_normal(rows)
        out[place, "I"] = drawn
        out[place, "T"] = 22 + 2 * k + 8 * (1 - np.exp(-t / 90))
        out[place, "P"] = out[place, "U"] * drawn
    return out


def write(
    path: Path,
    stems: str,
    words: dict[str, str],
    form: str = "{p} {q}",
    units: bool = True,
    leave_out: tuple[tuple[str, str], ...] = (),
    extra: dict[str, np.ndarray] | None = None,
) -> Path:
    stem = dict(zip(PLACES, stems.split("|"), strict=True))
    columns = {
        form.format(p=stem[p], q=words[q]) + (f" [{UNITS[q]}]" if units else ""): (v, DIGITS[q])
        for (p, q), v in aircraft().items()
        if q in words and (p, q) not in leave_out
    }
    columns |= {name: (v, 3) for name, v in (extra or {}).items()}
    lines = [";".join(["t [s]", *columns])]
    for i in range(900):
        cells = [f"{round(float(v[i]), d):g}" for v, d in columns.values()]
        lines.append(";".join([f"{i * 0.2:.1f}", *cells]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def found(path: Path) -> dict[str, str]:
    return {c.title: c.reading for c in describe_columns(path).columns[1:]}


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "log.csv"


HEIGHT = 80 + 70 * np.sin(np.arange(900) / 40)
UI = {"U": "U", "I": "I", "T": "T"}


@pytest.mark.parametrize(
    ("form", "words", "units"),
    [
        ("{p} {q}", UI, True),
        ("{p} {q}", UI, False),
        ("{q}_{p}", UI, False),
        ("{q}-{p}", UI, True),
        ("{p}.{q}", {"U": "volt", "I": "amp", "T": "temp"}, False),
        ("{q}/{p}", UI, True),
        ("{q}({p})", UI, False),
        ("{p} [{q}]", UI, False),
        ("{p}{q}", UI, False),  # glued: WLU, WLI
        ("{q}{p}", UI, False),
        ("{p} {q}", {"U": "V", "I": "A", "T": "C"}, False),
        ("{p} {q}", {"U": "E", "I": "I", "T": "T"}, False),
        ("{p} {q}", {"U": "ragu", "I": "silt", "T": "kemm"}, True),
        ("{q}: {p}", {"U": "ragu", "I": "silt"}, False),
        ("{p} {q}", {"U": "gerilim", "I": "akım"}, False),
        ("{q} {p}", {"U": "τάση", "I": "ρεύμα"}, False),
    ],
)
def test_codes_keep_their_quantities_together(
    form: str, words: dict[str, str], units: bool, log: Path
) -> None:
    read = read_log(write(log, "P1|P2|BUS|WL|WR|TL", words, form, units))
    for place in ("wl", "wr", "tl"):
        true = aircraft()[f"n{('wl', 'wr', 'tl').index(place) + 1}", "I"]
        assert np.isfinite(read.values(f"{place}/voltage")).all()
        np.testing.assert_allclose(read.values(f"{place}/current"), true, atol=0.006)


def test_stems_of_several_words_in_a_language_no_dictionary_holds(log: Path) -> None:
    stems = "bateria 1|bateria 2|bus|ezker hegala|eskuin hegala|isatsa"
    words = {"U": "tentsioa", "I": "korrontea", "Q": "kontsumoa", "T": "epeltasuna"}
    got = found(write(log, stems, words, units=False))
    assert got["ezker hegala tentsioa"] == "ezker hegala/voltage[V]"
    assert got["eskuin hegala korrontea"] == "eskuin hegala/current[A]"
    assert got["bateria 2 kontsumoa"] == "pack 2/consumed[mAh]"
    assert got["isatsa epeltasuna"] == ""  # its values could be those of many things


def test_a_power_is_no_second_current(log: Path) -> None:
    words = {"U": "ragu", "I": "silt", "P": "brom"}
    got = found(write(log, "pa|pb|bem|zet|dor|mip", words, units=False))
    assert got["zet silt"] == "zet/current[A]"
    assert got["zet brom"] == "zet/power"
    # Without the current nothing tells it from one: it is asked for, not read.
    without = tuple((f"n{k}", "I") for k in (1, 2, 3))
    listing = describe_columns(
        write(log, "pa|pb|bem|zet|dor|mip", words, "{p} {q}", False, without)
    )
    power = next(c for c in listing.columns if c.title == "zet brom")
    assert power.channel.quantity == "unknown"
    assert power.channel.looks_like == "current"
    assert listing.state == "open"


def test_the_c_of_a_charge_beside_u_and_i_is_no_celsius(log: Path) -> None:
    got = found(write(log, "P1|P2|BUS|K1|K2|K3", {"U": "U", "I": "I", "Q": "C"}, units=False))
    assert (got["P1 C"], got["P2 C"]) == ("pack 1/consumed[mAh]", "pack 2/consumed[mAh]")


def test_numbers_beside_named_packs_are_places_of_their_own(log: Path) -> None:
    got = found(write(log, "Pack 1|Pack 2|Bus|1|2|3", UI, "{q}{p}", False))
    assert [got[f"{q}2"] for q in "UIT"] == [
        "channel 2/voltage[V]", "channel 2/current[A]", "channel 2/temperature[degC]",
    ]  # fmt: skip
    got = found(write(log, "Pack 1|Pack 2|Bus|A1|A2|A3", {"U": "V", "I": "A"}, units=False))
    assert (got["A1 V"], got["A1 A"]) == ("a1/voltage[V]", "a1/current[A]")


def test_codes_with_currents_are_no_cells(log: Path) -> None:
    got = found(write(log, "Z1|Z2|Z3|Z4|Z5|Z6", {"U": "voltage", "I": "current"}))
    assert [got[f"Z4 {q} [{u}]"] for q, u in (("voltage", "V"), ("current", "A"))] == [
        "z4/voltage[V]", "z4/current[A]",
    ]  # fmt: skip


def test_a_word_for_a_limit_among_words_for_places_is_a_place(log: Path) -> None:
    got = found(
        write(log, "Pack 1|Pack 2|Bus|alpha|beta|delta", {"U": "U", "I": "I"}, "{q}.{p}", False)
    )
    assert (got["U.delta"], got["I.delta"]) == ("delta/voltage[V]", "delta/current[A]")
    got = found(
        write(log, "Pack 1|Pack 2|Bus|alpha|beta|gamma", {"U": "limit", "I": "I"}, units=False)
    )
    assert got["alpha limit"] == "status"


def test_numbers_that_run_with_the_columns_are_no_part_of_a_name(log: Path) -> None:
    path = write(log, "Pack 1|Pack 2|Bus|Left wing|Right wing|Tail", UI)
    head, _, rest = path.read_text(encoding="utf-8").partition("\n")
    names = [f"{k:02d} {name}" for k, name in enumerate(head.split(";"))]
    path.write_text("\n".join([";".join(names), rest]), encoding="utf-8")
    got = found(path)
    assert got["05 Bus U [V]"] == "bus/voltage[V]"
    assert got["07 Left wing U [V]"] == "left wing/voltage[V]"


@pytest.mark.parametrize(
    "others",
    [
        {"Foo sol": np.full(900, 40.0)},
        # A pressure falls as a height rises: no supply.
        {"dor hin": 1013 - HEIGHT / 9.0, "dor fun": HEIGHT, "mip hin": HEIGHT, "mip fun": HEIGHT},
    ],
)
def test_words_of_other_things_are_not_learned(others: dict[str, np.ndarray], log: Path) -> None:
    got = found(write(log, "Pack 1|Pack 2|Bus|WL|WR|TL", UI, extra=others))
    assert all(got[name] == "" for name in others)


def test_columns_are_not_settled_while_one_that_goes_with_a_supply_is_unknown(log: Path) -> None:
    """A node whose current has another name than those of the others, and no unit."""
    words = {"U": "voltage", "I": "current"}
    lost = (("n3", "I"),)
    drawn = aircraft()["n3", "I"]
    path = write(log, "Pack 1|Pack 2|Bus|Left wing|Right wing|Tail", words, "{p} {q}", True, lost,
                 {"Extra 7": np.round(drawn, 2)})  # fmt: skip
    listing = describe_columns(path)
    assert listing.state == "open"
    assert [(u.column, u.quantity) for u in listing.unsettled] == [("Extra 7", "current")]
    assert describe_columns(path, settings={"Extra 7": "tail/current[A]"}).state == "settled"
    assert describe_columns(path, settings={"Extra 7": "ignore"}).state == "settled"


def test_the_state_of_a_listing(log: Path) -> None:
    words = {"U": "voltage", "I": "current"}
    path = write(log, "Pack 1|Pack 2|Bus|Left wing|Right wing|Tail", words)
    assert describe_columns(path).state == "settled"
    log.write_text("t [s];Altitude [m]\n0;1\n1;2\n2;2\n", encoding="utf-8")
    assert describe_columns(log).state == "supplyless"
    log.write_text("Pack 1 [V];Pack 1 [A]\n8.1;1\n8.2;2\n8.1;2\n", encoding="utf-8")
    assert describe_columns(log).state == "unreadable"


def test_a_bus_under_a_name_of_its_own_is_no_node_of_itself(log: Path) -> None:
    words = {"U": "voltage", "I": "current"}
    path = write(log, "Pack 1|Pack 2|siin|Left wing|Right wing|Tail", words)
    nodes = {node.name for node in infer_path(read_log(path)).nodes}
    assert nodes == {"left wing", "right wing", "tail"}


def test_a_lead_is_judged_at_a_code_as_at_a_wing(tmp_path: Path) -> None:
    """A demonstration log with a corroded lead, its left wing once called WL."""
    sample = Path(__file__).parents[2] / "sample_logs" / "tern-flight-12.csv"
    text = sample.read_text(encoding="utf-8")
    coded = tmp_path / "coded.csv"
    for old, new in (("Left wing", "WL"), ("Right wing", "WR"), ("Tail", "TL")):
        text = text.replace(f"{old} voltage", f"{new} U").replace(f"{old} current", f"{new} I")
        text = text.replace(f"{old} lowest U", f"{new} U lowest").replace(
            f"{old} lowest voltage", f"{new} U min"
        )
        text = text.replace(f"{old} temperature", f"{new} T")
    coded.write_text(text, encoding="utf-8")
    plain, code = (review(read_log(p)) for p in (sample, coded))
    assert ("branch-resistance-high", "wl") in [(f.code, f.place) for f in code.findings]
    assert [f.code for f in code.findings] == [f.code for f in plain.findings]
