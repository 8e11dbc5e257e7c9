"""What several commands share: messages, settings, finding and reading logs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from telemetry.errors import UnknownSetting, UnreadableLog

if TYPE_CHECKING:
    from telemetry.aircraft import Aircraft
    from telemetry.log import Log

# What a folder is searched for; a file named on the command line may be called anything.
LOG_ENDINGS = (".csv", ".tsv", ".txt", ".log", ".dat")


def say(text: str) -> None:
    """Tell something that is not the result: on stderr."""
    click.echo(text, err=True)


def settings_of(pairs: Iterable[str]) -> dict[str, str]:
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


reading_options = (
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


def with_reading_options(command: Any) -> Any:
    """Decorate a command with the options that tell how a log is read."""
    for option in reversed(reading_options):
        command = option(command)
    return command


def read_one(
    path: Path, settings: Iterable[str], map_file: Path | None, row_interval: float | None
) -> Log:
    """Read one log as the reading options tell."""
    from telemetry.importer import load_column_map, read_log

    maps = () if map_file is None else (load_column_map(map_file),)
    return read_log(
        path, settings=settings_of(settings), row_interval_s=row_interval, column_maps=maps
    )


def profile_of(aircraft: str | None) -> Aircraft | None:
    """The profile named on the command line; None where none was named."""
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
