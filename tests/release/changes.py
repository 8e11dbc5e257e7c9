"""The headings of "Changes" in DEVELOPERS.md: a version each, with its date or "unreleased"."""

from __future__ import annotations

import re


def headings(developers: str) -> list[tuple[str, str]]:
    """Versions in the order they stand, the newest first, each with what stands in brackets."""
    _, _, changes = developers.partition("\n## Changes\n")
    return re.findall(r"^### (\d+\.\d+\.\d+) \((.+)\)$", changes, flags=re.MULTILINE)
