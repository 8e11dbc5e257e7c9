"""One table for all: ``python -m pytest tests/bench --benchmark-only``."""

from __future__ import annotations

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Show what matters side by side; the command line goes before."""
    option = config.option
    if not hasattr(option, "benchmark_columns"):
        return
    arguments = config.invocation_params.args
    for name, value in {
        "benchmark_columns": ["min", "median", "max", "rounds"],
        "benchmark_group_by": "group",
        "benchmark_sort": "min",
    }.items():
        if not any(str(a).startswith("--" + name.replace("_", "-")) for a in arguments):
            setattr(option, name, value)
