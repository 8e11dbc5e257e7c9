"""The command line: parses, calls the library, prints. Nothing is worked out here.

Exit status: 0 done; 1 with ``--fail-on`` and such a finding; 2 usage, or input that cannot be read
(of several logs, the good ones are finished and the bad ones listed). What was asked for goes to
stdout, progress and warnings to stderr. Libraries are imported by the command that needs them.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from telemetry.errors import BusbookError, UnknownSetting, UnreadableLog

if TYPE_CHECKING:
    from telemetry.aircraft import Aircraft
    from telemetry.log import Log
    from telemetry.results import Review

# What a folder is searched for; a file named on the command line may be called anything.
LOG_ENDINGS = (".csv", ".tsv", ".txt", ".log", ".dat")


class _Group(click.Group):
    """Every error of the library becomes one sentence on stderr and exit status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except BusbookError as error:
            _say(str(error))
            ctx.exit(2)
        except BrokenPipeError:
            # The reader of our output has gone (a pager was quit): nothing left to say.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(0)

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(self.commands)


@click.group(
    cls=_Group,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.version_option(package_name="busbook", prog_name="busbook")
def main() -> None:
    """busbook: a logbook for the power bus of large model aircraft.

    Turns telemetry logs (generic CSV) into a review after each flight: how low the voltage
    went, where and why, what drew the current, and what to check before the next flight.

    The review is advice from a log. It replaces no inspection and no rule of your federation,
    club or site.
    """


def _say(text: str) -> None:
    click.echo(text, err=True)


def _settings(pairs: Iterable[str]) -> dict[str, str]:
    """``COLUMN=place/quantity[unit]`` pairs; the last ``=`` parts them, headers may hold others."""
    out: dict[str, str] = {}
    for pair in pairs:
        column, sign, reading = pair.rpartition("=")
        if not sign or not column or not reading:
            raise UnknownSetting(
                f"--set '{pair}' is not of the form COLUMN=place/quantity[unit]",
                hint="for example --set 'Sensor 3=left wing/current[mA]'",
            )
        out[column] = reading
    return out


def find_logs(paths: Sequence[Path]) -> list[Path]:
    """The files named, and every log inside the folders named, in order, without repeats."""
    found: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            inside = sorted(
                p for p in path.rglob("*") if p.suffix.lower() in LOG_ENDINGS and p.is_file()
            )
            if not inside:
                raise UnreadableLog(
                    f"no log in this folder (looked for {', '.join(LOG_ENDINGS)})",
                    path=path,
                    hint="name the file itself if it ends otherwise",
                )
            found.update(dict.fromkeys(inside))
        else:
            found[path] = None
    return list(found)


_reading_options = (
    click.option(
        "--set",
        "settings",
        multiple=True,
        metavar="COLUMN=READING",
        help="Read a column as place/quantity[unit]; may be repeated.",
    ),
    click.option(
        "--map",
        "map_file",
        type=click.Path(path_type=Path, dir_okay=False),
        help="Column map saved by 'busbook columns --save'.",
    ),
    click.option(
        "--row-interval",
        type=click.FloatRange(min=0, min_open=True),
        metavar="S",
        help="Seconds between rows, for a log without a time column.",
    ),
)


def _with_reading_options(command: Any) -> Any:
    for option in reversed(_reading_options):
        command = option(command)
    return command


def _read(
    path: Path, settings: Iterable[str], map_file: Path | None, row_interval: float | None
) -> Log:
    from telemetry.importer import load_column_map, read_log

    maps = () if map_file is None else (load_column_map(map_file),)
    return read_log(
        path, settings=_settings(settings), row_interval_s=row_interval, column_maps=maps
    )


@main.command()
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
@_with_reading_options
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
    r"""Review one or more LOGS (files, or folders of them).

    \b
    Examples:
      busbook review flight.csv
      busbook review season/ --out reports --format html,pdf
      busbook review flight.csv --json --fail-on ground
    """
    from telemetry.results import Level

    wanted = _formats(formats, out)
    folder = out if out is not None else Path()
    craft = _profile(aircraft)
    paths = find_logs(logs)
    groups = [paths] if join else [[p] for p in paths]
    reviews: list[Review] = []
    errors: list[tuple[str, str]] = []
    names = _Names()
    for number, group in enumerate(groups, 1):
        if len(groups) > 1:
            _say(f"{number}/{len(groups)} {group[0]}")
        try:
            one = _review_one(group, craft, settings, map_file, row_interval)
            for note in one.log.provenance.notes if one.log.provenance.rows_refused else ():
                _say(f"{group[0]}: {note}")
            for kind in wanted:
                _say(
                    f"wrote {_write(one, folder, names.free(one.log.provenance.file), kind, paper)}"
                )
        except BusbookError as error:
            errors.append((str(group[0]), str(error)))
            _say(str(error))
            continue
        reviews.append(one)
        if not as_json:
            _print_review(one, blank=number > 1)
    if as_json:
        from telemetry.report import json as report_json

        click.echo(report_json.dumps(report_json.document(reviews, errors)), nl=False)
    if len(groups) > 1 and errors:
        _say(f"{len(errors)} of {len(groups)} logs could not be reviewed: see above.")
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


def _profile(aircraft: str | None) -> Aircraft | None:
    if aircraft is None:
        return None
    from telemetry.profile import read_profile

    path = Path(aircraft)
    if path.is_file() or path.suffix == ".toml":
        return read_profile(path)
    raise UnknownSetting(
        f"no profile of an aircraft named '{aircraft}'",
        hint="give the path of a profile (.toml)",
    )


def _review_one(
    group: list[Path],
    craft: Aircraft | None,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
) -> Review:
    from telemetry.review import review as review_log

    parts = [_read(p, settings, map_file, row_interval) for p in group]
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
        count = self.taken[name] = self.taken.get(name, 0) + 1
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


@main.command()
@click.argument("log", type=click.Path(path_type=Path))
@_with_reading_options
@click.option(
    "--save",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Keep these readings as a column map for later logs with the same header.",
)
def columns(
    log: Path,
    settings: tuple[str, ...],
    map_file: Path | None,
    row_interval: float | None,
    save: Path | None,
) -> None:
    r"""Show how every column of LOG is read, why, and how to settle what is unclear.

    \b
    Examples:
      busbook columns flight.csv
      busbook columns flight.csv --set 'S3=left wing/current[mA]' --save tern.toml
    """
    from telemetry.importer import describe_columns, load_column_map, save_column_map
    from telemetry.report.listing import render

    maps = () if map_file is None else (load_column_map(map_file),)
    listing = describe_columns(
        log, settings=_settings(settings), row_interval_s=row_interval, column_maps=maps
    )
    click.echo(render(listing), nl=False)
    if save is not None:
        save_column_map(listing.column_map(save.stem), save)
        click.echo(f"next: busbook review {log} --map {save}")
    elif not listing.problem:
        click.echo(f"next: busbook review {log}")


@main.command()
@click.argument("directory", type=click.Path(path_type=Path, file_okay=False))
@click.option("--seed", type=int, default=None, help="Another season than the usual one.")
def demo(directory: Path, seed: int | None) -> None:
    r"""Write an invented season of two demo aircraft into DIRECTORY, with faults that grow.

    \b
    Examples:
      busbook demo season
      busbook demo season --seed 7
    """
    from telemetry.simulate import demo_season

    files = demo_season(directory) if seed is None else demo_season(directory, seed=seed)
    click.echo(f"wrote {len(files)} invented logs into {directory}")
    click.echo(f"next: busbook review {directory} --out reports")
