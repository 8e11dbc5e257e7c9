"""A profile that is true as far as it goes never makes the answer worse: the log adds the rest."""

from __future__ import annotations

from pathlib import Path

import pytest

import telemetry
from telemetry.aircraft.profile import read_profile

SAMPLES = Path(__file__).parents[2] / "sample_logs"

PACKS = "".join(f'[[packs]]\nname = "pack {n}"\nchemistry = "lipo"\ncells = 2\n' for n in (1, 2))
PARTS = {
    "packs alone": PACKS,
    "one of two packs": '[[packs]]\nname = "pack 1"\n',
    "bus alone": 'bus = "bus"\n',
    "one node of three": '[[nodes]]\nname = "left wing"\nfed_from = "bus"\n',
    "limits alone": "[limits]\nrestart_v = 3.6\n",
    "packs and switches": PACKS
    + "".join(
        f'[[supplies]]\nname = "switch {n}"\nkind = "switch"\nfed_from = ["pack {n}"]\n'
        for n in (1, 2)
    ),
}


@pytest.fixture(scope="module")
def corroded() -> tuple[telemetry.Log, telemetry.Review]:
    """A flight with a bad lead to the left wing."""
    log = telemetry.read_log(SAMPLES / "tern-flight-12.csv")
    return log, telemetry.review(log)


@pytest.mark.parametrize("text", PARTS.values(), ids=PARTS)
def test_what_a_profile_leaves_out_is_read_from_the_log(
    corroded: tuple[telemetry.Log, telemetry.Review], text: str, tmp_path: Path
) -> None:
    log, alone = corroded
    path = tmp_path / "aircraft.toml"
    path.write_text(text, encoding="utf-8")
    review = telemetry.review(log, read_profile(path))
    assert any(f.place == "left wing" for f in alone.findings)
    assert review.findings == alone.findings
    assert review.flights[0].resistances == alone.flights[0].resistances
    parents = {n.name: n.fed_from for n in review.aircraft.nodes}
    assert parents == dict.fromkeys(("left wing", "right wing", "tail"), "bus")
    assert [p.name for p in review.aircraft.packs] == ["pack 1", "pack 2"]


def test_the_report_names_what_the_profile_does_not_list(
    corroded: tuple[telemetry.Log, telemetry.Review], tmp_path: Path
) -> None:
    path = tmp_path / "aircraft.toml"
    path.write_text(PACKS, encoding="utf-8")
    review = telemetry.review(corroded[0], read_profile(path))
    assert review.aircraft.added == ("bus", "left wing", "right wing", "tail")
    telemetry.to_html(review, tmp_path / "page.html")
    shown = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "for the profile does not list them: bus, left wing, right wing, tail." in shown
