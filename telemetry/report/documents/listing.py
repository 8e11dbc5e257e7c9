"""The columns of a log as text of 80 columns: how each is read, why, and what is to settle."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from telemetry.model.text import plain

if TYPE_CHECKING:
    from telemetry.importer import ColumnReport, Listing

_OPEN, _UNKNOWN, _READ = "?", "-", " "


def render(listing: Listing, width: int = 80) -> str:
    """A listing as plain text.

    Parameters
    ----------
    listing : Listing
        From ``describe_columns``.
    width : int
        Greatest length of a line.

    Returns
    -------
    str
        Ends with a line feed.
    """
    lines = [f"{listing.file}: {len(listing.columns)} columns"]
    if listing.time_form:
        lines += _wrap(f"Time: {listing.time_form}", width)
    for note in listing.notes:
        lines += _wrap(f"Note: {note}", width)
    lines.append("")
    for column in listing.columns:
        lines += _column(column, width)
    undecided = [c for c in listing.columns if c.open]
    unknown = [
        c
        for c in listing.columns
        if not (c.reading or c.open or c.channel.text or c.title in listing.settled)
    ]
    lines.append("")
    if undecided:
        lines.append(f"{_OPEN} To settle, add one of the lines above to your command:")
        lines += [f"    {c.rivals[0].set_line}" for c in undecided]
    if unknown:
        names = ", ".join(c.title for c in unknown)
        lines += _wrap(f"{_UNKNOWN} Kept, but not understood: {names}", width)
        lines.append(f"  To name one: {unknown[0].set_line}")
    likely = [
        u
        for u in listing.unsettled
        if not u.beside and u.column in {c.channel.column for c in unknown}
    ]
    if likely:
        names = ", ".join(f"'{u.column}' ({u.quantity})" for u in likely)
        lines += _wrap(
            f"{_OPEN} By unit or values these belong to a supply; name them: {names}", width
        )
        lines += [f"    {u.set_line}" for u in likely]
    for u in (u for u in listing.unsettled if u.beside):
        lines += _wrap(
            f"{_OPEN} The current '{u.column}' has no voltage and the voltage '{u.beside}' no "
            "current. If they are of one place, say so; if not, give the current a place of its "
            "own:",
            width,
        )
        lines.append(f"    {u.set_line}")
    if listing.problem:
        lines += _wrap(f"Cannot be reviewed yet: {listing.problem}", width)
    elif listing.state == "supplyless":
        lines += _wrap("No column is read as a voltage or a current: name them with --set.", width)
    elif listing.state == "settled":
        lines.append("Every column that the review needs is settled.")
    return "\n".join(plain(line) for line in lines) + "\n"


def _column(c: ColumnReport, width: int) -> list[str]:
    sign = _OPEN if c.open else (_READ if c.reading or c.channel.text else _UNKNOWN)
    reading = c.reading or ("several readings" if c.open else "words" if c.channel.text else "")
    head = f"{sign}{c.number:>3} {c.title}"
    if reading:
        gap = max(2, 36 - len(head))
        head += " " * gap + reading
    lines = _wrap(head, width, "       ")
    seen = ", ".join(c.samples[:3])
    span = "" if math.isnan(c.low) else f"; {c.low:g} to {c.high:g}"
    detail = f"{c.channel.reason or 'no word of the name is known'}; cells {seen or 'empty'}{span}"
    lines += _wrap(detail, width, "       ", "       ")
    for rival in c.rivals:
        span = "" if math.isnan(rival.low) else f" ({rival.low:g} to {rival.high:g})"
        lines += _wrap(f"or {rival.reading}{span}:", width, "       ", "       ")
        lines.append(f"         {rival.set_line}")
    return lines


def _wrap(text: str, width: int, then: str = "  ", first: str = "") -> list[str]:
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    ) or [""]
