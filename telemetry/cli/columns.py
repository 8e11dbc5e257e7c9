"""``busbook columns``: how every column is read."""

from __future__ import annotations

from pathlib import Path

import click

from telemetry.cli.shared import settings_of, with_reading_options


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
      busbook columns flight.csv --set 'S3=left wing/current[mA]' --save tern.toml
    """
    from telemetry.importer import describe_columns, load_column_map, save_column_map
    from telemetry.report.listing import render

    maps = () if map_file is None else (load_column_map(map_file),)
    listing = describe_columns(
        log, settings=settings_of(settings), row_interval_s=row_interval, column_maps=maps
    )
    click.echo(render(listing), nl=False)
    if save is not None:
        save_column_map(listing.column_map(save.stem), save)
        click.echo(f"next: busbook review {log} --map {save}")
    elif not listing.problem:
        click.echo(f"next: busbook review {log}")
