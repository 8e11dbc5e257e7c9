"""Aircraft profiles as TOML: read and checked, written from a log, changed, shown as a tree."""

from telemetry.aircraft.profile.editing import set_keys
from telemetry.aircraft.profile.reading import profile_errors, read_profile
from telemetry.aircraft.profile.writing import new_profile, path_tree

__all__ = ["new_profile", "path_tree", "profile_errors", "read_profile", "set_keys"]
