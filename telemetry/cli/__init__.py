"""The command line: parses, calls the library, prints. Nothing is worked out here.

Exit status: 0 done; 1 with ``--fail-on`` and such a finding; 2 usage, or input that cannot be read
(of several logs, the good ones are finished and the bad ones listed). What was asked for goes to
stdout, progress and warnings to stderr. Libraries are imported by the command that needs them.
"""

from __future__ import annotations

import os
import sys
from typing import Any

import click

from telemetry.cli.columns import columns
from telemetry.cli.demo import demo
from telemetry.cli.review import review
from telemetry.cli.shared import say
from telemetry.errors import BusbookError


class _Group(click.Group):
    """Every error of the library becomes one sentence on stderr and exit status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except BusbookError as error:
            say(str(error))
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


for _command in (review, columns, demo):
    main.add_command(_command)
