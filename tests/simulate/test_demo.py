"""The demo season and the sample logs drawn from it."""

from __future__ import annotations

from pathlib import Path

import pytest

from telemetry.model.errors import OutputError
from telemetry.simulate import demo_season, write_csv
from telemetry.simulate.demo import (
    DEMO_FLIGHTS,
    demo_logs,
    demo_readme,
    dunlin_season,
    tern_season,
)

# The logs of the usual season that are kept beside the program.
SAMPLES = (
    "tern-bench-stir.csv",
    "tern-flight-01.csv",
    "tern-flight-06.csv",
    "tern-flight-12.csv",
    "dunlin-flight-01.csv",
    "dunlin-flight-11.csv",
)
SAMPLE_LOGS = Path(__file__).parents[2] / "sample_logs"


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season") / "logs"
    demo_season(folder)
    return folder


def test_a_dozen_flights_of_two_aircraft_and_a_bench_stir(season: Path) -> None:
    names = sorted(p.name for p in season.glob("*.csv"))
    expected = [f"{name}-flight-{k:02d}.csv" for name in ("dunlin", "tern") for k in range(1, 13)]
    assert names == sorted([*expected, "tern-bench-stir.csv"])
    assert DEMO_FLIGHTS == 12


@pytest.mark.parametrize("name", SAMPLES)
def test_sample_logs_are_the_seasons_own(season: Path, name: str) -> None:
    assert (SAMPLE_LOGS / name).read_bytes() == (season / name).read_bytes()


def test_sample_logs_are_few_small_and_said_to_be_invented() -> None:
    found = sorted(p.name for p in SAMPLE_LOGS.glob("*.csv"))
    assert found == sorted(SAMPLES)
    assert sum(p.stat().st_size for p in SAMPLE_LOGS.iterdir()) < 3e6
    words = (SAMPLE_LOGS / "README.md").read_text(encoding="utf-8")
    assert "invented" in words
    for name in SAMPLES:
        assert name in words
        assert b"invented demonstration data" in (SAMPLE_LOGS / name).read_bytes()[:200]


def test_readme_names_every_fault_and_its_flight(season: Path) -> None:
    text = (season / "README.txt").read_text(encoding="utf-8")
    assert text == demo_readme()
    assert text.startswith("These logs are invented.")
    assert max(len(line) for line in text.splitlines()) <= 100
    for one in (tern_season(), dunlin_season()):
        for fault in one.faults:
            assert f"{one.aircraft.name}, flight {fault.onset}" in text
            assert fault.place in text


def test_two_layouts_two_dialects() -> None:
    tern, dunlin = tern_season(), dunlin_season()
    reporting = [{s.place for s in one.telemetry.sensors} for one in (tern, dunlin)]
    assert {"left wing", "right wing", "tail"} <= reporting[0]
    assert not {"left wing", "right wing", "tail"} & reporting[1]
    assert len(tern.telemetry.sensors) + len(tern.telemetry.controls) > 24
    assert 12 <= len(dunlin.telemetry.sensors) <= 16
    assert tern.dialect.separator != dunlin.dialect.separator
    assert tern.dialect.decimal != dunlin.dialect.decimal
    assert tern.dialect.language != dunlin.dialect.language


def test_another_seed_is_another_season_with_the_same_faults(tmp_path: Path) -> None:
    assert tern_season(5).faults == tern_season().faults
    name, recording, dialect = next(iter(demo_logs(5)))
    other = write_csv(tmp_path / name, recording, dialect=dialect).read_bytes()
    assert other != (SAMPLE_LOGS / name).read_bytes()


def test_an_unwritable_folder_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    with pytest.raises(OutputError, match="cannot write the demo season"):
        demo_season(tmp_path / "file")
