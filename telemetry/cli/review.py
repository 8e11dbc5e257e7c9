"""``busbook review``: logs to reviews and reports."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from telemetry.cli.shared import find_logs, profile_of, read_one, say, with_reading_options
from telemetry.errors import BusbookError, UnknownSetting

if TYPE_CHECKING:
    from telemetry.aircraft import Aircraft
    from telemetry.results import Review


@click.command()
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--aircraft", metavar="FILE|NAME", help="Profile of the aircraft.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the reports.")
@click.option(
    "--format",
    "formats",
    metavar="html,pdf",
    help="Reports to write: html, pdf or both. With --out alone: html.",
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", help="Paper of the PDF."
)
@click.option("--json", "as_json", is_flag=True, help="Print the reviews as JSON instead of text.")
@click.option("--join", is_flag=True, help="The logs continue each other: review them as one.")
@with_reading_options
@click.option(
    "--fail-on",
    type=click.Choice(["watch", "ground"]),
    help="Exit with 1 if a finding reaches this level.",
)
@click.pass_context
def review(
    ctx: click.Context,
    logs: tuple[Path, ...],
    aircraft: str | None,
    out: Path | None,
    formats: str | None,
    paper: str,
    as_json: bool,
    join: bool,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
    fail_on: str | None,
) -> None:
    """Review one or more LOGS (files, or folders of them).

    \b
    Examples:
      busbook review flight.csv
      busbook review season/ --out reports --format html,pdf
      busbook review flight.csv --json --fail-on ground
    """
    from telemetry.results import Level

    wanted = _formats(formats, out)
    folder = out if out is not None else Path()
    craft = profile_of(aircraft)
    paths = find_logs(logs)
    groups = [paths] if join else [[p] for p in paths]
    reviews: list[Review] = []
    errors: list[tuple[str, str]] = []
    names = _Names()
    for number, group in enumerate(groups, 1):
        if len(groups) > 1:
            say(f"{number}/{len(groups)} {group[0]}")
        try:
            one = _review_one(group, craft, settings, map_file, row_interval)
            for note in one.log.provenance.notes if one.log.provenance.rows_refused else ():
                say(f"{group[0]}: {note}")
            name = names.free(one.log.provenance.file) if wanted else ""
            for kind in wanted:
                say(f"wrote {_write(one, folder, name, kind, paper)}")
        except BusbookError as error:
            errors.append((str(group[0]), str(error)))
            say(str(error))
            continue
        reviews.append(one)
        if not as_json:
            _print_review(one, blank=number > 1)
    if as_json:
        from telemetry.report import json as report_json

        click.echo(report_json.dumps(report_json.document(reviews, errors)), nl=False)
    if len(groups) > 1 and errors:
        say(f"{len(errors)} of {len(groups)} logs could not be reviewed: see above.")
    if errors:
        ctx.exit(2)
    if fail_on is not None and any(r.verdict >= Level(fail_on) for r in reviews):
        ctx.exit(1)


def _formats(formats: str | None, out: Path | None) -> tuple[str, ...]:
    if formats is None:
        return ("html",) if out is not None else ()
    wanted = tuple(dict.fromkeys(f.strip().lower() for f in formats.split(",") if f.strip()))
    wrong = [f for f in wanted if f not in ("html", "pdf")]
    if wrong or not wanted:
        raise UnknownSetting(f"--format '{formats}' is not known", hint="use html, pdf or html,pdf")
    return wanted


def _review_one(
    group: list[Path],
    craft: Aircraft | None,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
) -> Review:
    from telemetry.review import review as review_log

    parts = [read_one(p, settings, map_file, row_interval) for p in group]
    if len(parts) > 1:
        from telemetry.importer import join_logs

        return review_log(join_logs(parts), craft)
    return review_log(parts[0], craft)


class _Names:
    """Report names that do not collide: logs of one name in different folders are told apart."""

    def __init__(self) -> None:
        self.taken: dict[str, int] = {}

    def free(self, file: str) -> str:
        from telemetry.report.writing import report_name

        name = report_name(file)
        # Some file systems do not tell "Day.html" from "day.html".
        key = name.casefold()
        count = self.taken[key] = self.taken.get(key, 0) + 1
        return name if count == 1 else f"{name}-{count}"


def _write(one: Review, folder: Path, name: str, kind: str, paper: str) -> Path:
    if kind == "html":
        from telemetry.report.html import render
        from telemetry.report.writing import write_text

        path = folder / f"{name}.html"
        write_text(path, render(one))
        return path
    from telemetry.report.pdf import write

    path = folder / f"{name}.pdf"
    write(one, path, paper=paper)
    return path


def _print_review(one: Review, *, blank: bool) -> None:
    from telemetry.report.terminal import render

    if blank:
        click.echo()
    click.echo(render(one), nl=False)
