"""Post-flight review of a large model aircraft's radio power.

Names are loaded when they are first used, so that ``import telemetry`` is cheap.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from telemetry.model.lazily import lazily

if TYPE_CHECKING:
    from telemetry.aircraft import Aircraft as Aircraft
    from telemetry.aircraft import Limits as Limits
    from telemetry.aircraft.profile import read_profile as read_profile
    from telemetry.app.adding import add_logs as add_logs
    from telemetry.app.histories import history as history
    from telemetry.app.pipeline import review as review
    from telemetry.app.usual import compare as compare
    from telemetry.book import Logbook as Logbook
    from telemetry.importer import ColumnMap as ColumnMap
    from telemetry.importer import describe_columns as describe_columns
    from telemetry.importer import join_logs as join_logs
    from telemetry.importer import load_column_map as load_column_map
    from telemetry.importer import read_log as read_log
    from telemetry.importer import save_column_map as save_column_map
    from telemetry.model.errors import BookError as BookError
    from telemetry.model.errors import BusbookError as BusbookError
    from telemetry.model.errors import OutputError as OutputError
    from telemetry.model.errors import ProfileError as ProfileError
    from telemetry.model.errors import UnknownSetting as UnknownSetting
    from telemetry.model.errors import UnreadableLog as UnreadableLog
    from telemetry.model.log import Log as Log
    from telemetry.report.output import to_html as to_html
    from telemetry.report.output import to_json as to_json
    from telemetry.report.output import to_pdf as to_pdf
    from telemetry.report.picture import draw as draw
    from telemetry.results import Finding as Finding
    from telemetry.results import History as History
    from telemetry.results import Level as Level
    from telemetry.results import Review as Review
    from telemetry.simulate import demo_season as demo_season

# Public name -> module that defines it.
_HOME = {
    "Aircraft": "telemetry.aircraft",
    "BookError": "telemetry.model.errors",
    "BusbookError": "telemetry.model.errors",
    "ColumnMap": "telemetry.importer",
    "Finding": "telemetry.results",
    "History": "telemetry.results",
    "Level": "telemetry.results",
    "Limits": "telemetry.aircraft",
    "Log": "telemetry.model.log",
    "Logbook": "telemetry.book",
    "OutputError": "telemetry.model.errors",
    "ProfileError": "telemetry.model.errors",
    "Review": "telemetry.results",
    "UnknownSetting": "telemetry.model.errors",
    "UnreadableLog": "telemetry.model.errors",
    "add_logs": "telemetry.app.adding",
    "compare": "telemetry.app.usual",
    "demo_season": "telemetry.simulate",
    "describe_columns": "telemetry.importer",
    "draw": "telemetry.report.picture",
    "history": "telemetry.app.histories",
    "join_logs": "telemetry.importer",
    "load_column_map": "telemetry.importer",
    "read_log": "telemetry.importer",
    "read_profile": "telemetry.aircraft.profile",
    "review": "telemetry.app.pipeline",
    "save_column_map": "telemetry.importer",
    "to_html": "telemetry.report.output",
    "to_json": "telemetry.report.output",
    "to_pdf": "telemetry.report.output",
}

__all__ = list(_HOME)
__getattr__, __dir__ = lazily(__name__, _HOME)
