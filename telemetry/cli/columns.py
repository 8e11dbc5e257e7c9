"""``busbook columns``: how every column is read."""

from __future__ import annotations

from pathlib import Path

import click

from telemetry.cli.shared import how_to_read, read_as, tell, with_reading_options
from telemetry.model.errors import OutputError


@click.command()
@click.argument("log", type=click.Path(path_type=Path))
@with_reading_options
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
    """Show how every column of LOG is read, why, and how to settle what is unclear.

    \b
    Examples:
      busbook columns flight.csv
      busbook columns flight.csv --set 'Field 3=tail/current[mA]' --save tern.toml
    """
    from telemetry.importer import describe_columns, save_column_map
    from telemetry.report.documents.listing import render
    from telemetry.report.words import quoted

    listing = describe_columns(log, **how_to_read(settings, map_file, row_interval))
    click.echo(render(listing), nl=False)
    if save is not None:
        if save.exists() and save.samefile(log):
            raise OutputError("is the log itself", path=save, hint="name another file for the map")
        save_column_map(listing.column_map(save.stem), save)
        tell(f"next: busbook review {quoted(str(log))} --map {quoted(str(save))}")
    elif not listing.problem:
        words = read_as(settings, map_file, row_interval)
        tell(" ".join(["next: busbook review", quoted(str(log)), *words]))
