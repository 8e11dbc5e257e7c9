"""``busbook sheet``: one page to take to the field and to show an inspector."""

from __future__ import annotations

from pathlib import Path

import click

from telemetry.cli.keeping.completing import complete_aircraft
from telemetry.cli.shared import (
    formats_of,
    known_aircraft,
    next_step,
    open_book,
    say,
    tell,
    with_book,
    with_report_options,
)


@click.command()
@click.argument("name", shell_complete=complete_aircraft)
@with_book
@with_report_options
def sheet(name: str, book: Path | None, out: Path | None, formats: str | None, paper: str) -> None:
    """One page of the aircraft NAME: answer, open findings, bench checks to tick, signature.

    For an inspector it holds the hashes of the logs, the limits that were changed, and what could
    not be judged. With --out alone it is written as PDF and as HTML.

    \b
    Examples:
      busbook sheet tern
      busbook sheet tern --out . --paper letter
    """
    from telemetry.app.histories import history
    from telemetry.app.pipeline import review
    from telemetry.report.sheet.content import sheet_of
    from telemetry.report.sheet.page import text_of

    wanted = formats_of("pdf,html" if formats is None and out is not None else formats, out)
    shelf = open_book(book)
    key = known_aircraft(shelf, name)
    found = history(shelf, key, progress=lambda done, count: say(f"{done}/{count} measured"))
    newest = review(shelf.read(found.flights[-1].id), shelf.profile(key))
    hashes = {part.id: one.sha256 for one in shelf.recordings(key) for part in one.flights}
    made = sheet_of(found, newest, hashes)
    folder = Path() if out is None else out
    for kind in wanted:
        from telemetry.report.writers.writing import report_name, write_bytes, write_text

        path = folder / report_name(f"{key}-sheet.", f".{kind}")
        if kind == "html":
            from telemetry.report.sheet import page

            write_text(path, page.render(made, paper))
        else:
            from telemetry.report.sheet import printed

            write_bytes(path, printed.render(made, paper))
        say(f"wrote {path}")
    click.echo(text_of(made), nl=False)
    if not wanted:
        tell(next_step("sheet", key, "--out", ".", book=book))
