"""The guide's page of security says the limits that are in force."""

from __future__ import annotations

from pathlib import Path

import telemetry
from telemetry.importer.text import archive
from telemetry.importer.text.decoding import MAX_LINE_BYTES
from telemetry.model.files import MOST_TEXT_BYTES
from telemetry.page import safety
from tests.release.locked import ROOT

PAGE = (Path(telemetry.__file__).parent / "guide" / "security.md").read_text(encoding="utf-8")


def test_limits_are_those_of_the_code() -> None:
    text = " ".join(PAGE.split())
    for told in (
        f"no line longer than {MAX_LINE_BYTES:,} bytes",
        f"no log larger than {archive.MOST_BYTES >> 20} megabytes",
        f"at most {archive.MOST_ENTRIES:,} entries, {archive.MOST_BYTES >> 20} megabytes of one "
        f"log and {archive.MOST_TOTAL_BYTES >> 30} gigabytes of all",
        f"more than {archive.MOST_RATIO} times its size",
        f"TOML of at most {MOST_TEXT_BYTES // 1000} kilobytes",
    ):
        assert told in text, told
    assert (safety.MOST_WRONG, safety.WRONG_FOR_S) == (10, 60.0)
    assert "Ten wrong keys in a minute" in text


def test_commands_are_there() -> None:
    assert ".ci/release --out DIR" in PAGE
    assert (ROOT / ".ci" / "release").exists()
    for ending in archive.SHEET_ENDINGS[::4]:
        assert f"`{ending[1:]}`" in PAGE
