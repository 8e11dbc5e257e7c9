"""The guide's page of findings, from the declared list of checks.

    python tests/full/findings_page.py --write    # puts the list into the page
    python tests/full/findings_page.py            # prints it

What stands before the first part is written by hand and kept.
"""

from __future__ import annotations

import sys
import textwrap
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))  # works from the sources as well as installed

from telemetry.checks.check import Check, CheckPart  # noqa: E402
from telemetry.checks.listed import CHECKS  # noqa: E402

PAGE = ROOT / "telemetry" / "guide" / "findings.md"
HEADINGS = {
    CheckPart.SUPPLY: "Supply and margin",
    CheckPart.LEADS: "Leads and contacts",
    CheckPart.PACKS: "Packs",
    CheckPart.SERVOS: "Servos and linkages",
    CheckPart.SENSORS: "Sensors",
    CheckPart.RECORDING: "The log",
}


def page(now: str) -> str:
    """The page as the list of checks has it, under the head that it has now."""
    head, mark, _ = now.partition("\n## " + HEADINGS[CheckPart.SUPPLY])
    if not mark:
        raise ValueError(f"no heading {HEADINGS[CheckPart.SUPPLY]!r} to write the list under")
    parts = []
    for part, heading in HEADINGS.items():
        parts.append(f"## {heading}")
        parts += [_entry(checks) for checks in _together(part)]
    return head + "\n" + "\n\n".join(parts) + "\n"


def _together(part: CheckPart) -> list[list[Check]]:
    """The checks of a part; those that mean the same of one flight and of several share a place."""
    entries: dict[tuple[str, str], list[Check]] = {}
    for check in CHECKS:
        if check.part is part:
            entries.setdefault((check.meaning, check.bench), []).append(check)
    return list(entries.values())


def _entry(checks: list[Check]) -> str:
    codes = ", ".join(f"`{check.code}`" for check in checks)
    asked = "*Question:* " + " ".join(check.question for check in checks)
    confirm = f"*Confirm:* {checks[0].bench}"
    return "\n\n".join([f"### {codes}", *map(_filled, (asked, checks[0].meaning, confirm))])


def _filled(text: str) -> str:
    return textwrap.fill(text, 80, break_long_words=False, break_on_hyphens=False)


def main() -> None:
    """Print the page, or write it."""
    made = page(PAGE.read_text(encoding="utf-8"))
    if sys.argv[1:] == ["--write"]:
        PAGE.write_text(made, encoding="utf-8", newline="\n")
    else:
        print(made, end="")


if __name__ == "__main__":
    main()
