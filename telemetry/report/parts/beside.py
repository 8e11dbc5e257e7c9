"""The part of a review that sets it beside the earlier flights of the aircraft."""

from __future__ import annotations

from telemetry.model.text import plain
from telemetry.report.document import Block, Bullets, Paragraph, Section, Table
from telemetry.report.parts.tables import cells, columns
from telemetry.report.words import counted, sentence
from telemetry.results import Comparison, Review

# Sentences that anybody would read; all of it stands in the table.
_MOST = 12


def beside_section(review: Review) -> Section | None:
    """What lies outside the earlier flights, and all that was compared; None without a book."""
    rows = review.compared
    if not rows:
        return None
    most = max(r.flights for r in rows)
    outside = [r for r in rows if r.outside]
    many = len(review.flights) > 1
    blocks: list[Block] = []
    if outside:
        blocks.append(
            Paragraph(
                text=f"{len(outside)} of {counted(len(rows), 'measure')} lie outside everything "
                f"that up to {most} earlier flights showed:"
            )
        )
        blocks.append(Bullets(items=tuple(_sentence(r, many=many) for r in outside[:_MOST])))
        if len(outside) > _MOST:
            blocks.append(Paragraph(text=f"{len(outside) - _MOST} more: see the table."))
    else:
        blocks.append(
            Paragraph(
                text=f"All of {counted(len(rows), 'measure')} lie within what up to {most} earlier "
                "flights showed."
            )
        )
    left_out: dict[str, int] = {}
    for r in rows:
        if r.left_out:
            left_out[r.place] = max(r.left_out, left_out.get(r.place, 0))
    if left_out:
        told = ", ".join(f"{plain(p)}: {counted(n, 'flight')}" for p, n in left_out.items())
        blocks.append(
            Paragraph(text=f"Left out, for a finding was open there ({told}): no fault is usual.")
        )
    blocks.append(
        Paragraph(
            text=f"One measure alone proves nothing: by chance about one in {(most + 1) // 2} lies "
            f"outside {most} earlier flights. Whether something lasts is judged by the history."
        )
    )
    titles = ("Place", "Measure", ">This flight", ">Usual", ">Flights", "")
    blocks.append(
        Table(
            caption="Beside the earlier flights",
            columns=columns(*(("Flight", *titles) if many else titles)),
            rows=tuple(cells(*_row(r, many=many)) for r in rows),
            note="Usual: the middle four fifths of the earlier flights, since the last repair or "
            "change noted at that place, without those in which a finding was open there.",
            brief=False,
        )
    )
    return Section(title="Beside earlier flights", anchor="beside", blocks=tuple(blocks))


def _sentence(row: Comparison, *, many: bool) -> str:
    head = f"Flight {row.flight}: " if many else ""
    return sentence(head + row.sentence)


def _row(row: Comparison, *, many: bool) -> tuple[str, ...]:
    unit = f" {row.unit}" if row.unit else ""
    return (
        *((str(row.flight),) if many else ()),
        plain(row.place),
        row.name,
        f"{row.value:.{row.digits}f}{unit}",
        f"{row.usual_low:.{row.digits}f} to {row.usual_high:.{row.digits}f}{unit}",
        str(row.flights),
        "outside" if row.outside else "",
    )
