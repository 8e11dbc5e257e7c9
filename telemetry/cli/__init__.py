"""The command line: parses, calls the library, prints. Nothing is worked out here.

Exit status: 0 done; 1 with ``--fail-on`` and such a finding; 2 usage, or input that cannot be read
(of several logs, the good ones are finished and the bad ones listed). What was asked for goes to
stdout, progress and warnings to stderr. Libraries are imported by the command that needs them.
"""

from __future__ import annotations

import contextlib
import gc
import io
import os
import sys
from collections.abc import Iterator
from typing import Any

import click

from telemetry.cli.add import add
from telemetry.cli.aircraft import aircraft
from telemetry.cli.book import check_book, export, flights
from telemetry.cli.budget import budget
from telemetry.cli.columns import columns
from telemetry.cli.demo import demo
from telemetry.cli.guide import guide
from telemetry.cli.history import history
from telemetry.cli.keeping.marking import mark
from telemetry.cli.keeping.noting import note
from telemetry.cli.keeping.removing import move, remove, restore
from telemetry.cli.opening import open_page
from telemetry.cli.reports.compare import compare
from telemetry.cli.reports.sheet import sheet
from telemetry.cli.review import review
from telemetry.cli.shared import CommandGroup, say
from telemetry.model.errors import sentence
from telemetry.model.threads import ALGEBRA, one_thread

# What a shell reports for a command that was interrupted.
_INTERRUPTED = 130

# New objects until those in rings are looked for.
_OBJECTS = 100_000


class _Main(CommandGroup):
    """Every error becomes one sentence on stderr and exit status 2; no traceback reaches a user."""

    def make_context(self, *args: Any, **more: Any) -> click.Context:
        with _plain_usage():
            return super().make_context(*args, **more)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            with _plain_usage():
                result = super().invoke(ctx)
            sys.stdout.flush()
            return result
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except BrokenPipeError:
            # The reader of our output has gone (a pager was quit): nothing left to say.
            with contextlib.suppress(OSError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(0)
        except KeyboardInterrupt:
            say("Stopped; the files already written are whole.")
            ctx.exit(_INTERRUPTED)
        except Exception as error:
            say(sentence(error))
            ctx.exit(2)


@contextlib.contextmanager
def _plain_usage() -> Iterator[None]:
    """Usage errors repeat what was typed, which may be what a shell made of a file's name."""
    try:
        yield
    except click.ClickException as error:
        from telemetry.model.text import plain

        vars(error)["message"] = plain(error.message)  # declared final, and shown by click
        raise


def _show_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from telemetry.model.version import made_by

        click.echo(made_by())
        ctx.exit()


@click.group(
    cls=_Main,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help="Show the version and exit.",
)
def main() -> None:
    """busbook: a logbook for the power bus of large model aircraft.

    Turns telemetry logs (generic CSV) into a review after each flight: how low the voltage
    went, where and why, what drew the current, and what to check before the next flight.

    The review is advice from a log. It replaces no inspection and no rule of your federation,
    club or site.
    """
    # A console that lacks a letter shows a question mark instead of ending the program.
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    # Libraries bring half a million objects that stay: looking through them over and over for what
    # nobody refers to took a tenth of a command's time.
    gc.set_threshold(_OBJECTS)
    # Its tables are small: threads would wait for each other longer than they work.
    one_thread(ALGEBRA)


for _command in (
    review,
    columns,
    add,
    flights,
    note,
    mark,
    remove,
    restore,
    move,
    history,
    compare,
    sheet,
    aircraft,
    budget,
    check_book,
    export,
    demo,
    guide,
    open_page,
):
    main.add_command(_command)
