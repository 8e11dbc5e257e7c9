"""``busbook demo``: an invented season to try everything on."""

from __future__ import annotations

from pathlib import Path

import click

from telemetry.cli.shared import tell


@click.command()
@click.argument("directory", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--seed", type=click.IntRange(min=0), default=None, help="Another season than the usual one."
)
def demo(directory: Path, seed: int | None) -> None:
    """Write an invented season of two demo aircraft into DIRECTORY, with faults that grow.

    \b
    Examples:
      busbook demo season
      busbook demo season --seed 7
    """
    from telemetry.report.words import quoted
    from telemetry.simulate import demo_season

    files = demo_season(directory) if seed is None else demo_season(directory, seed=seed)
    tell(f"wrote {len(files)} invented logs into {directory}")
    tell(f"next: busbook review {quoted(str(directory))} --out reports")
