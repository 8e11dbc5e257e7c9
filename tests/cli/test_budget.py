"""``busbook budget``: the design, the measured one, and the contract "busbook.budget/1"."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest

from telemetry.simulate.fleet import tern

SAMPLES = Path(__file__).parents[2] / "sample_logs"
FLIGHTS = [SAMPLES / f"tern-flight-{n}.csv" for n in ("01", "06", "12")]

# The demo's invented tern as its builder would describe it: each lead has the length that gives
# its simulated resistance by the wire table (2 * length / 58 / section, stranding 2 %).
MM2 = 1.5


def _length(ohm: float) -> float:
    return ohm * MM2 * 58 / 2 / 1.02


def _profile() -> str:
    craft = tern()
    lines = ['name = "tern"', 'bus = "bus"']
    for n, pack in enumerate(craft.packs, 1):
        lines += [
            "[[packs]]",
            f'name = "{pack.name}"',
            f'chemistry = "{pack.chemistry}"',
            f"cells = {pack.cells}",
            f"capacity_mah = {pack.capacity_mah}",
            "resistance_mohm = 30",
            'lead = { awg = 14, length_m = 0.3, limit_a = 20, connectors = [{ kind = "panel" }] }',
            "[[supplies]]",
            f'name = "switch {n}"',
            'kind = "diode"',
            f'fed_from = ["{pack.name}"]',
            "resistance_mohm = 5",
        ]
    for node in craft.nodes:
        contact = 1000 * node.connector_ohm / 2
        lines += [
            "[[nodes]]",
            f'name = "{node.name}"',
            'fed_from = "bus"',
            f"lead = {{ mm2 = {MM2}, length_m = {_length(node.lead_ohm):.3f}, "
            f"connectors = [{{ contact_mohm = {contact:.2f}, pin_a = 4.5 }}] }}",
        ]
    for n, servo in enumerate(craft.servos, 1):
        lines += [
            "[[servos]]",
            f'node = "{servo.node}"',
            f"output = {n}",
            f'drives = "{servo.control}"',
            "stall_a = 4.5",
            "stall_v = 7.4",
            "moving_a = 0.5",
        ]
    return "\n".join(lines) + "\n"


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    path = tmp_path / "tern.toml"
    path.write_text(_profile())
    return path


def _json(run, *arguments: object) -> dict[str, Any]:
    result = run("budget", *arguments, "--json")
    assert result.exit_code == 0
    content: dict[str, Any] = json.loads(result.stdout, parse_constant=_no_constant)
    return content


def _no_constant(name: str) -> None:
    raise AssertionError(f"{name} is no JSON")


INTERVAL = {"value", "low", "high"}
KEYS = {
    "": "schema busbook errors files aircraft basis places leads parts",
    "places": "place predicted_v measured_v differs lowest_v restart_v comfort_v cases",
    "cases": "case current_a voltage_v low_v high_v note level",
    "leads": "place wire length_m expected_mohm measured_mohm excess_mohm differs worst_drop_v "
    "thicker",
    "thicker": "wire mohm gain_v grams",
    "parts": "place part what usual_a worst_a worst_case limit_a limit_from over worst_over",
}


def _rows(content: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    rows = [("", content)]
    rows += [(key, row) for key in ("places", "leads", "parts") for row in content[key]]
    rows += [("cases", c) for p in content["places"] for c in p["cases"]]
    rows += [("thicker", t) for x in content["leads"] for t in x["thicker"]]
    return rows


@pytest.mark.parametrize("logs", [(), FLIGHTS[:1]], ids=["design", "measured"])
def test_the_contract_holds(run, profile: Path, logs, contract_breaches) -> None:
    content = _json(run, profile, *(x for log in logs for x in ("--log", log)))
    assert contract_breaches(content) == []
    assert content["schema"] == "busbook.budget/1"
    assert content["basis"] == ("measured" if logs else "design")
    assert content["files"] == [str(log) for log in logs]
    rows = _rows(content)
    assert {key for key, _ in rows} == set(KEYS)
    for key, row in rows:
        assert set(row) == set(KEYS[key].split()), key
        for name, value in row.items():
            if isinstance(value, dict):
                assert set(value) == INTERVAL
                assert value["low"] <= value["value"] <= value["high"], name
            assert not isinstance(value, float) or math.isfinite(value)


def test_each_of_several_logs_is_counted_as_it_is_read(run, profile: Path) -> None:
    assert "1/1" not in run("budget", profile, "--log", FLIGHTS[0]).stderr
    both = run("budget", profile, "--log", FLIGHTS[0], "--log", FLIGHTS[1]).stderr
    assert [line.partition(" ")[0] for line in both.splitlines()][:2] == ["1/2", "2/2"]


def test_measured_and_expected_agree_with_the_simulated_leads(run, profile: Path) -> None:
    """The sound leads of the first flight; what was planted is 20 to 30 mOhm and a plug each."""
    content = _json(run, profile, "--log", FLIGHTS[0])
    leads = {x["place"]: x for x in content["leads"]}
    for node in tern().nodes:
        lead, truth = leads[node.name], 1000 * node.branch_ohm
        # 11 degC below 20 (the sample's day), and the plug differs a little each time.
        assert lead["expected_mohm"]["low"] < truth < lead["expected_mohm"]["high"]
        assert lead["measured_mohm"]["value"] == pytest.approx(truth, rel=0.12)
        assert lead["differs"] is False
    places = {p["place"]: p for p in content["places"]}
    assert places["tail"]["differs"] is False
    assert places["tail"]["predicted_v"]["value"] == pytest.approx(
        places["tail"]["measured_v"]["value"], abs=0.04
    )


def test_a_bad_contact_and_a_wrong_length_show(run, profile: Path) -> None:
    """The last sample has a worn plug at the left wing; the tail's lead is told half as long."""
    half = _length(tern().node("tail").lead_ohm) / 2
    text = _profile().replace(f"length_m = {2 * half:.3f}", f"length_m = {half:.3f}")
    profile.write_text(text)
    leads = {x["place"]: x for x in _json(run, profile, "--log", FLIGHTS[2])["leads"]}
    assert {name: x["differs"] for name, x in leads.items() if x["differs"] is not None} == {
        "left wing": True,
        "right wing": False,
        "tail": True,
    }
    assert leads["tail"]["excess_mohm"]["value"] == pytest.approx(15, abs=4), "half of 30 mOhm"
    shown = run("budget", profile, "--log", FLIGHTS[2])
    assert "WATCH" in shown.stdout
    assert "Left wing: its lead measures" in shown.stdout


def test_several_flights_count_together(run, profile: Path) -> None:
    one = [_json(run, profile, "--log", log) for log in FLIGHTS]
    all_three = _json(run, profile, *(x for log in FLIGHTS for x in ("--log", log)))

    def lowest(content: dict[str, Any], place: str) -> float:
        return next(p["lowest_v"] for p in content["places"] if p["place"] == place)

    def level(content: dict[str, Any]) -> dict[str, Any]:
        bus = next(p for p in content["places"] if p["place"] == "bus")
        return next(c for c in bus["cases"] if c["case"] == "return-level")

    for place in ("bus", "left wing", "tail"):
        assert lowest(all_three, place) == min(lowest(c, place) for c in one)
    # Peaks of one flight are too few for a return level; those of three are enough.
    assert [level(c)["voltage_v"] for c in one] == [None, None, None]
    assert "needs 30" in level(one[0])["note"]
    assert level(all_three)["current_a"] > 0
    # The state is that of the last day, in whatever order the logs are named.
    turned = _json(run, profile, *(x for log in FLIGHTS[::-1] for x in ("--log", log)))
    assert turned["leads"] == all_three["leads"]
    assert turned["places"] == all_three["places"]


def test_a_design_by_hand(run, tmp_path: Path) -> None:
    """One 2s pack of 50 mOhm, one lead of 20 mOhm (1 mm2 of 0.58 m), two 1 A servos."""
    profile = tmp_path / "wren.toml"
    profile.write_text(
        'name = "wren"\n[[packs]]\nname = "pack 1"\nchemistry = "lipo"\ncells = 2\n'
        'resistance_mohm = 50\n[[nodes]]\nname = "receiver 1"\nfed_from = "pack 1"\n'
        "lead = { mm2 = 1.0, length_m = 0.58, stranded = false, limit_a = 1.5 }\n"
        '[[servos]]\nnode = "receiver 1"\noutput = 1\ndrives = "rudder"\ncount = 2\n'
        "moving_a = 1.0\n"
    )
    content = _json(run, profile)
    place = next(p for p in content["places"] if p["place"] == "receiver 1")
    assert place["predicted_v"]["value"] == pytest.approx(7.4 - 2 * 0.050 - 2 * 0.020)
    assert place["predicted_v"]["low"] == pytest.approx(6.6 - 0.14, abs=0.03), "3.3 V a cell"
    assert place["predicted_v"]["high"] == pytest.approx(8.4 - 0.14, abs=0.03)
    (part,) = content["parts"]
    assert (part["usual_a"], part["limit_a"], part["over"]) == (2.0, 1.5, True)
    shown = run("budget", profile)
    assert "2.0 A for a minute through wire (1 mm2), which may carry 1.5 A" in shown.stdout
    text = [x for x in shown.stdout.splitlines() if not x.startswith("    busbook ")]
    assert max(map(len, text)) <= 80, "a command to be copied is never cut"


def test_reports_are_written_and_say_the_same(run, profile: Path, tmp_path: Path) -> None:
    out = tmp_path / "reports"
    result = run("budget", profile, "--log", FLIGHTS[0], "--out", out, "--format", "html,pdf")
    assert result.exit_code == 0
    assert sorted(p.name for p in out.iterdir()) == ["tern-budget.html", "tern-budget.pdf"]
    page = (out / "tern-budget.html").read_text(encoding="utf-8")
    for words in ("Power budget. From 1 flight", "Thicker wire", "Cautions", "aria-label"):
        assert words in page
    assert not re.search(r"\bsafe\b", page, re.IGNORECASE)
    assert (out / "tern-budget.pdf").read_bytes().startswith(b"%PDF")


def test_the_flights_of_the_book_are_taken(run, tmp_path: Path) -> None:
    book = tmp_path / "book"
    for log in FLIGHTS[:2]:
        assert run("add", log, "--aircraft", "tern", "--book", book).exit_code == 0
    (book / "aircraft" / "tern.toml").write_text(_profile())
    two = _json(run, "tern", "--book", book)
    assert (two["basis"], len(two["files"])) == ("measured", 2)
    given = _json(run, "tern", "--book", book, *(x for log in FLIGHTS[:2] for x in ("--log", log)))
    assert two["leads"] == given["leads"]
    one = _json(run, "tern", "--book", book, "--last", "1")
    assert len(one["files"]) == 1
    assert _json(run, "tern", "--book", book, "--last", "0")["basis"] == "design"


def test_one_bad_log_does_not_stop_the_others(run, profile: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_bytes(b"PK\x03\x04 not a log")
    result = run("budget", profile, "--log", bad, "--log", FLIGHTS[0], "--json")
    assert result.exit_code == 2
    content = json.loads(result.stdout)
    assert [e["file"] for e in content["errors"]] == [str(bad)]
    assert content["basis"] == "measured"
    alone = run("budget", profile, "--log", bad)
    assert (alone.exit_code, alone.stdout) == (2, "")
    assert [x for x in result.stderr.splitlines() if x.startswith(("1/2 ", "2/2 "))]
    (told,) = alone.stderr.splitlines()
    assert told.startswith(str(bad))
