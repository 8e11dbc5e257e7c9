"""Files that continue each other, laid one behind the other as one log."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np
import pandas as pd

from telemetry.importer.clock.axis import RECORDING_GAP_S
from telemetry.importer.names.settings import text_of
from telemetry.model.channels import Channel
from telemetry.model.errors import UnreadableLog
from telemetry.model.log import Log, Provenance
from telemetry.model.unsettled import set_option

# Two parts of one flight are not further apart than this on the clock they share, s.
_ONE_FLIGHT_S = 3600.0
# Clocks of parts may overlap by rounding, s.
_ROUNDING_S = 1.0


def join_logs(logs: Sequence[Log]) -> Log:
    """Lay logs that continue each other one behind the other.

    Parameters
    ----------
    logs : sequence of Log
        Parts of one recording, or recordings of one flight. Where all have a date, they are put
        in its order and at its distance; else, where their own clocks run on from one to the
        next, at the distance the clocks tell; else in the order given, 10 s apart.

    Returns
    -------
    Log
        Channels of all parts by their keys; a part that lacks one has no values for it.

    Raises
    ------
    UnreadableLog
        Nothing is given, one file is given twice, two parts overlap in time, or a column has
        another unit in another part.
    """
    if not logs:
        raise UnreadableLog("no logs are given to join", hint="name two or more files")
    if len(logs) == 1:
        return logs[0]
    _refuse_twice(logs)
    ordered, starts_s, how = _lay_out(logs)
    channels = _channels(ordered)
    frames, texts = [], []
    for log, start_s in zip(ordered, starts_s, strict=True):
        index = pd.Index(log.time_s + start_s, name="time_s")
        frames.append(log.frame.set_axis(index, axis=0))
        texts.append(log.text.set_axis(index, axis=0))
    keys = [c.key for c in channels]
    columns = {k for f in frames for k in f.columns}
    words = {k for t in texts for k in t.columns}
    frame = _stack(frames, [k for k in keys if k in columns], np.float64)
    text = _stack(texts, [k for k in keys if k in words], np.object_)
    return Log(
        frame=frame,
        text=text,
        channels=tuple(channels),
        provenance=_provenance(ordered, starts_s, how, frame.index.to_numpy()),
    )


def _stack(frames: Sequence[pd.DataFrame], keys: list[str], dtype: type) -> pd.DataFrame:
    index = np.concatenate([f.index.to_numpy() for f in frames])
    out = {}
    for key in keys:
        pieces = [
            f[key].to_numpy(dtype=dtype)
            if key in f.columns
            else np.full(len(f), np.nan if dtype is np.float64 else None, dtype=dtype)
            for f in frames
        ]
        out[key] = np.concatenate(pieces)
    return pd.DataFrame(out, index=pd.Index(index, name="time_s"), dtype=dtype, copy=False)


def _refuse_twice(logs: Sequence[Log]) -> None:
    seen: dict[str, str] = {}
    for log in logs:
        p = log.provenance
        if p.sha256 in seen:
            raise UnreadableLog(
                f"has the same content as {seen[p.sha256]}",
                path=p.file,
                hint="give each part once",
            )
        seen[p.sha256] = p.file


def _lay_out(logs: Sequence[Log]) -> tuple[list[Log], list[float], str]:
    """The parts in order, where each starts (s from the first row of the first), and how told."""
    moments = [_moment(log.provenance) for log in logs]
    dated = [m for m in moments if m is not None]
    if len(dated) == len(logs) and len({m.tzinfo is None for m in dated}) == 1:
        pairs = sorted(zip(dated, range(len(logs)), strict=True))
        ordered = [logs[i] for _, i in pairs]
        starts = [(m - pairs[0][0]).total_seconds() for m, _ in pairs]
        return ordered, _checked(ordered, starts), "by their dates"
    clocks = [log.provenance.clock_s for log in logs]
    if all(math.isfinite(c) for c in clocks):
        pairs2 = sorted(zip(clocks, range(len(logs)), strict=True))
        ordered = [logs[i] for _, i in pairs2]
        starts = [c - pairs2[0][0] for c, _ in pairs2]
        if _runs_on(ordered, starts):
            return ordered, _checked(ordered, starts), "by the clock that runs on from part to part"
    starts, at = [], 0.0
    for log in logs:
        starts.append(at)
        at += _duration(log) + _apart_s(log)
    return list(logs), starts, f"in the order given, {RECORDING_GAP_S:g} s apart"


def _apart_s(log: Log) -> float:
    """Recordings that lie this far apart, s, are not one."""
    return max(RECORDING_GAP_S, 10 * log.provenance.row_s if len(log.frame) > 1 else 0.0)


def _moment(p: Provenance) -> datetime | None:
    # A day without a time of day cannot tell the distance of two parts.
    if p.start is None or not p.has_time_of_day:
        return None
    return datetime.fromisoformat(p.start)


def _duration(log: Log) -> float:
    return float(log.time_s[-1]) if len(log.frame) else 0.0


def _runs_on(logs: Sequence[Log], starts: Sequence[float]) -> bool:
    spans = [(s, _duration(log)) for s, log in zip(starts, logs, strict=True)]
    return all(
        -min(_ROUNDING_S, 0.1 * length) <= after - (start + length) <= _ONE_FLIGHT_S
        for (start, length), after in zip(spans, starts[1:], strict=False)
    )


def _checked(logs: Sequence[Log], starts: list[float]) -> list[float]:
    """Push a part back by a rounding, refuse a real overlap."""
    out = [starts[0]]
    for i in range(1, len(logs)):
        end = out[-1] + _duration(logs[i - 1])
        step = logs[i - 1].provenance.row_s
        if starts[i] < end - _ROUNDING_S:
            raise UnreadableLog(
                f"overlaps with {logs[i - 1].provenance.file} in time",
                path=logs[i].provenance.file,
                hint="join only logs that follow one another",
            )
        out.append(max(starts[i], end + (step if math.isfinite(step) else 0.0)))
    return out


def _channels(logs: Sequence[Log]) -> list[Channel]:
    found: dict[str, Channel] = {}
    for log in logs:
        for channel in log.channels:
            first = found.setdefault(channel.key, channel)
            if first.unit != channel.unit and channel.key in log.frame.columns:
                raise UnreadableLog(
                    f"is in {channel.unit or 'no unit'} here and in {first.unit or 'no unit'} in "
                    f"{logs[0].provenance.file}",
                    path=log.provenance.file,
                    column=channel.column,
                    hint="settle its unit where it is named otherwise: "
                    + set_option(
                        channel.column.strip(),
                        text_of(
                            channel.quantity, channel.place, first.unit, channel.hold, channel.cell
                        ),
                    ),
                )
    return list(found.values())


def _provenance(
    logs: Sequence[Log], starts_s: Sequence[float], how: str, time_s: np.ndarray
) -> Provenance:
    parts = [log.provenance for log in logs]
    digests = "".join(p.sha256 for p in parts)
    recordings: list[tuple[float, float]] = []
    for log, start in zip(logs, starts_s, strict=True):
        own = [(start + a, start + b) for a, b in log.provenance.recordings]
        if recordings and own and own[0][0] - recordings[-1][1] < _apart_s(log):
            # The clock ran on: one recording in two files.
            own[0] = (recordings.pop()[0], own[0][1])
        recordings += own
    notes = [f"{len(parts)} files are joined {how}"]
    notes.extend(f"{p.file}: {note}" for p in parts for note in p.notes)
    steps = np.diff(time_s)
    return replace(
        parts[0],
        sha256=hashlib.sha256(digests.encode()).hexdigest(),
        size_bytes=sum(p.size_bytes for p in parts),
        rows=sum(p.rows for p in parts),
        rows_refused=sum(p.rows_refused for p in parts),
        row_s=float(np.median(steps)) if len(steps) else math.nan,
        recordings=tuple(recordings),
        preamble=tuple(dict.fromkeys(kv for p in parts for kv in p.preamble)),
        notes=tuple(notes),
    )
