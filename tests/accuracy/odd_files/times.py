"""Odd time columns: units that are not told, clocks of all sorts, clocks that are set or wrong."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np

from tests.accuracy.odd_files.draft import Draft
from tests.accuracy.odd_files.kinds import kind
from tests.accuracy.odd_files.words import words_of

DAY = datetime(2026, 4, 11)


def began(d: Draft) -> datetime:
    """When a recording of this day began, drawn."""
    return DAY.replace(day=int(d.rng.integers(13, 28))) + timedelta(
        seconds=int(d.rng.integers(8 * 3600, 19 * 3600))
    )


def stamps(d: Draft) -> list[datetime]:
    first = began(d)
    return [first + timedelta(seconds=round(float(t), 3)) for t in d.time_s]


def counted(name: str, unit: str, per_s: float, decimals: int, *, start: bool = False,
            names: tuple[str, ...] = ()) -> Callable[[Draft], None]:  # fmt: skip
    """A number that counts up, ``per_s`` a second."""

    def apply(d: Draft) -> None:
        offset = float(d.rng.integers(100, 5000)) if start else 0.0
        cells = [f"{(t + offset) * per_s:.{decimals}f}" for t in d.time_s]
        d.set_clock((str(d.rng.choice(names)) if names else name, cells))
        clock = d.columns[0]
        clock.name += unit
        d.time_tolerance_s = max(0.51 / per_s / 10**decimals, 0.002)
        _loose(d)

    return apply


def _loose(d: Draft) -> None:
    """A clock coarser than the rows leaves open where within its step a row lies."""
    if d.time_tolerance_s > d.flight.interval_s / 2:
        d.time_tolerance_s = 2 * d.time_tolerance_s + d.flight.interval_s


for _name, _args in (
    ("seconds", ("Time", " [s]", 1, 2)), ("seconds-no-unit", ("Time", "", 1, 2)),
    ("seconds-whole", ("Time", " [s]", 1, 0)), ("seconds-offset", ("Time", " (s)", 1, 3, )),
    ("milliseconds", ("Time", " [ms]", 1000, 0)), ("milliseconds-no-unit", ("Time", "", 1000, 0)),
    ("microseconds", ("Time", " [us]", 1e6, 0)), ("microseconds-no-unit", ("Time", "", 1e6, 0)),
    ("minutes", ("Time", " [min]", 1 / 60, 5)), ("minutes-no-unit", ("Time", "", 1 / 60, 5)),
    ("hours", ("Time", " [h]", 1 / 3600, 7)), ("hours-no-unit", ("Time", "", 1 / 3600, 7)),
    ("tenths-no-unit", ("Time", "", 10, 0)), ("tenths-told", ("Time", " [0.1 s]", 10, 0)),
    ("ticks-10ms", ("Ticks", "", 100, 0)), ("ticks-10ms-told", ("Time", " [10 ms]", 100, 0)),
    ("centiseconds", ("Time", " [cs]", 100, 0)),
):  # fmt: skip
    kind("time", _name)(counted(*_args, start=_name.endswith("offset")))  # type: ignore[arg-type]


@kind("time", "ticks-nothing-decides", alone=True)
def ticks_nothing_decides(d: Draft) -> None:
    """Ticks of unknown length and no counter that would tell it: nobody could know."""
    counted("Ticks", "", float(d.rng.choice([8.0, 32.0, 100.0])), 0)(d)
    d.columns = [c for c in d.columns if c.quantity not in ("consumed", "uptime")]
    d.expects = "asked"


@kind("time", "ticks-odd-counters-decide")
def ticks_odd(d: Draft) -> None:
    """Ticks of 1/8 or 1/64 s; what was consumed against the currents tells how long one is."""
    counted("Ticks", "", float(d.rng.choice([8.0, 64.0])), 0)(d)


@kind("time", "no-time-at-all", alone=True)
def no_time(d: Draft) -> None:
    """Nobody can know the interval where no counter tells it."""
    d.columns = [c for c in d.columns if c.quantity not in ("time", "consumed", "uptime")]
    d.timed = True
    d.expects = "asked"


@kind("time", "row-number-only", alone=True)
def row_number(d: Draft) -> None:
    d.set_clock(("No.", [str(k + 1) for k in range(len(d.time_s))]))
    d.columns = [c for c in d.columns if c.quantity not in ("consumed", "uptime")]
    d.expects = "asked"


@kind("time", "language-unknown-unit")
def language_unknown(d: Draft) -> None:
    words = words_of(str(d.rng.choice(["turkish", "greek", "basque", "estonian", "croatian"])))
    counted(words["time"], " [s]", 1, 2)(d)


@kind("time", "language-unknown-no-unit")
def language_unknown_no_unit(d: Draft) -> None:
    words = words_of(str(d.rng.choice(["turkish", "greek", "basque", "estonian", "croatian"])))
    counted(words["time"], "", 1, 2)(d)


@kind("time", "no-name")
def no_name(d: Draft) -> None:
    counted("", "", 1, 2)(d)


@kind("time", "last-column")
def last_column(d: Draft) -> None:
    d.columns = [*d.columns[1:], d.columns[0]]


def shown(name: str, form: Callable[[datetime], str], resolution_s: float = 0.001,
          ) -> Callable[[Draft], None]:  # fmt: skip
    """A wall clock in one column."""

    def apply(d: Draft) -> None:
        d.set_clock((name, [form(x) for x in stamps(d)]))
        d.time_tolerance_s = max(0.51 * resolution_s, 0.002)
        _loose(d)

    return apply


def _frac(x: datetime, digits: int, mark: str = ".") -> str:
    return f"{mark}{x.microsecond // 10 ** (6 - digits):0{digits}d}"


AM_PM = {
    "english": ("AM", "PM"), "english-dots": ("a.m.", "p.m."), "spanish": ("a. m.", "p. m."),
    "greek": ("π.μ.", "μ.μ."), "hungarian": ("de.", "du."), "japanese": ("午前", "午後"),
    "korean": ("오전", "오후"), "czech": ("dop.", "odp."), "chinese": ("上午", "下午"),
    "turkish": ("ÖÖ", "ÖS"), "swedish": ("fm", "em"),
}  # fmt: skip


def _half_day(language: str) -> Callable[[datetime], str]:
    words = AM_PM[language]

    def form(x: datetime) -> str:
        time = f"{(x.hour - 1) % 12 + 1}:{x:%M:%S}{_frac(x, 2)}"
        word = words[x.hour >= 12]
        before = language in ("japanese", "korean", "hungarian", "chinese", "turkish")
        return f"{word} {time}" if before else f"{time} {word}"

    return form


for _language in AM_PM:
    kind("time", f"am-pm-{_language}")(shown("Time", _half_day(_language), 0.01))


def _epoch(x: datetime) -> float:
    return (x - datetime(1970, 1, 1)).total_seconds()


def _month(x: datetime) -> str:
    return MONTHS[x.month - 1]


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
for _name, _form, _res in (
    ("clock-hundredths", lambda x: f"{x:%H:%M:%S}{_frac(x, 2)}", 0.01),
    ("clock-comma", lambda x: f"{x:%H:%M:%S}{_frac(x, 3, ',')}", 0.001),
    ("clock-colon-ms", lambda x: f"{x:%H:%M:%S}{_frac(x, 3, ':')}", 0.001),
    ("clock-coarse", lambda x: f"{x:%H:%M:%S}", 1.0),
    ("clock-dots", lambda x: f"{x:%H.%M.%S}{_frac(x, 2, ',')}", 0.01),
    ("clock-dots-all", lambda x: f"{x:%H.%M.%S}{_frac(x, 3)}", 0.001),
    ("clock-dashes", lambda x: f"{x:%H-%M-%S}{_frac(x, 2)}", 0.01),
    ("clock-h-letters", lambda x: f"{x:%Hh%Mm%S}{_frac(x, 2)}s", 0.01),
    ("clock-tail-z", lambda x: f"{x:%H:%M:%S}{_frac(x, 2)}Z", 0.01),
    ("iso", lambda x: f"{x:%Y-%m-%dT%H:%M:%S}{_frac(x, 3)}", 0.001),
    ("iso-zone", lambda x: f"{x:%Y-%m-%dT%H:%M:%S}{_frac(x, 3)}+02:00", 0.001),
    ("iso-blank", lambda x: f"{x:%Y-%m-%d %H:%M:%S}{_frac(x, 2)}", 0.01),
    ("compact-date-time", lambda x: f"{x:%Y%m%d%H%M%S}{_frac(x, 2)}", 0.01),
    ("compact-ms", lambda x: f"{x:%Y%m%d%H%M%S}{_frac(x, 3, '')}", 0.001),
    ("compact-t", lambda x: f"{x:%Y%m%dT%H%M%S}{_frac(x, 2)}", 0.01),
    ("compact-underscore", lambda x: f"{x:%Y%m%d_%H%M%S}{_frac(x, 2)}", 0.01),
    ("compact-clock", lambda x: f"{x:%H%M%S}{_frac(x, 2)}", 0.01),
    ("date-dots", lambda x: f"{x:%d.%m.%Y %H:%M:%S}{_frac(x, 2)}", 0.01),
    ("date-slash-us", lambda x: f"{x:%m/%d/%Y %H:%M:%S}{_frac(x, 2)}", 0.01),
    ("date-slash-uk", lambda x: f"{x:%d/%m/%Y %H:%M:%S}{_frac(x, 2)}", 0.01),
    ("date-slash-year", lambda x: f"{x:%Y/%m/%d %H:%M:%S}{_frac(x, 2)}", 0.01),
    ("date-month-name", lambda x: f"{x.day} {_month(x)} {x:%Y %H:%M:%S}{_frac(x, 2)}", 0.01),
    ("date-two-digits", lambda x: f"{x:%d.%m.%y %H:%M:%S}{_frac(x, 2)}", 0.01),
    ("date-japanese", lambda x: f"{x.year}年{x.month}月{x.day}日 {x:%H:%M:%S}{_frac(x, 2)}", 0.01),
    ("epoch-seconds", lambda x: f"{_epoch(x):.2f}", 0.01),
    ("epoch-milliseconds", lambda x: f"{_epoch(x) * 1000:.0f}", 0.001),
    ("epoch-nanoseconds", lambda x: f"{_epoch(x) * 1000:.0f}000000", 0.001),
    ("serial-days", lambda x: f"{(x - datetime(1899, 12, 30)).total_seconds() / 86400:.8f}", 0.001),
):  # fmt: skip
    kind("time", _name)(shown("Time", _form, _res))


def elapsed(name: str, form: Callable[[float], str], resolution_s: float = 0.01) -> Callable:
    """Time since the start in one column."""

    def apply(d: Draft) -> None:
        d.set_clock((name, [form(float(t)) for t in d.time_s]))
        d.time_tolerance_s = max(0.51 * resolution_s, 0.002)
        _loose(d)

    return apply


def _hms(t: float, digits: int = 2) -> str:
    t = round(t, digits)
    return f"{int(t // 3600):02d}:{int(t // 60 % 60):02d}:{t % 60:0{3 + digits}.{digits}f}"


for _name, _shape in (
    ("elapsed-hms", lambda t: _hms(t)),
    ("elapsed-ms", lambda t: f"{int(round(t, 2) // 60):02d}:{round(t, 2) % 60:05.2f}"),
    ("elapsed-t-plus", lambda t: f"T+{_hms(t)}"),
    ("elapsed-plus", lambda t: f"+{_hms(t)}"),
    ("elapsed-days", lambda t: f"0d {_hms(t)}"),
    ("elapsed-days-word", lambda t: f"0 days {_hms(t)}"),
    ("elapsed-days-dot", lambda t: f"0.{_hms(t)}"),
    ("elapsed-letters", lambda t: f"{int(round(t, 2) // 60)}m{round(t, 2) % 60:05.2f}s"),
    ("elapsed-iso-duration", lambda t: f"PT{int(round(t, 2) // 60)}M{round(t, 2) % 60:.2f}S"),
    ("elapsed-prime", lambda t: f"{int(round(t, 2) // 60)}'{round(t, 2) % 60:05.2f}"),
    ("elapsed-unit-in-cells", lambda t: f"{t:.2f} s"),
    ("elapsed-ms-in-cells", lambda t: f"{1000 * t:.0f}ms"),
    ("elapsed-brackets", lambda t: f"[{t:.2f}]"),
    ("countdown-first", lambda t: f"{t - 10:.2f}"),
):  # fmt: skip
    kind("time", _name)(elapsed("Time", _shape))


@kind("time", "three-columns")
def three_columns(d: Draft) -> None:
    """Hours, minutes and seconds in a column each."""
    x = stamps(d)
    d.set_clock(("Hour", [str(s.hour) for s in x]), ("Minute", [str(s.minute) for s in x]),
                ("Second", [f"{s.second}{_frac(s, 2)}" for s in x]))  # fmt: skip
    d.time_tolerance_s = 0.006


@kind("time", "four-columns")
def four_columns(d: Draft) -> None:
    """Hours, minutes, seconds and milliseconds in a column each."""
    x = stamps(d)
    d.set_clock(
        ("hh", [str(s.hour) for s in x]),
        ("mm", [str(s.minute) for s in x]),
        ("ss", [str(s.second) for s in x]),
        ("ms", [str(s.microsecond // 1000) for s in x]),
    )


@kind("time", "seven-columns")
def seven_columns(d: Draft) -> None:
    """Year, month, day, hour, minute, second in a column each."""
    x = stamps(d)
    d.set_clock(("Year", [str(s.year) for s in x]), ("Month", [str(s.month) for s in x]),
                ("Day", [str(s.day) for s in x]), ("Hour", [str(s.hour) for s in x]),
                ("Minute", [str(s.minute) for s in x]),
                ("Second", [f"{s.second}{_frac(s, 2)}" for s in x]))  # fmt: skip
    d.time_tolerance_s = 0.006


@kind("time", "date-and-time")
def date_and_time(d: Draft) -> None:
    x = stamps(d)
    d.set_clock(("Date", [f"{s:%d.%m.%Y}" for s in x]),
                ("Time", [f"{s:%H:%M:%S}{_frac(s, 2)}" for s in x]))  # fmt: skip


@kind("time", "date-compact-and-time-compact")
def date_compact_and_time(d: Draft) -> None:
    x = stamps(d)
    d.set_clock(("Date", [f"{s:%Y%m%d}" for s in x]),
                ("Time", [f"{s:%H%M%S}{_frac(s, 2)}" for s in x]))  # fmt: skip


@kind("time", "seconds-and-milliseconds")
def seconds_and_ms(d: Draft) -> None:
    whole = [int(t + 1e-9) for t in d.time_s]
    rest = [f"{1000 * (t - w):.0f}" for t, w in zip(d.time_s, whole, strict=True)]
    d.set_clock(("Seconds", [str(w) for w in whole]), ("Milliseconds", rest))


@kind("time", "two-clocks")
def two_clocks(d: Draft) -> None:
    """Milliseconds since power-up beside a coarse clock of the day."""
    x = stamps(d)
    d.set_clock(("Clock", [f"{s:%H:%M:%S}" for s in x]),
                ("Uptime [ms]", [f"{1000 * (t + 20):.0f}" for t in d.time_s]))  # fmt: skip


@kind("time", "midnight")
def midnight(d: Draft) -> None:
    first = datetime(2026, 5, 2, 23, 59, 60 - 20)
    x = [first + timedelta(seconds=round(float(t), 3)) for t in d.time_s]
    d.set_clock(("Time", [f"{s:%H:%M:%S}{_frac(s, 2)}" for s in x]))


def _set_late(before: datetime, form: Callable[[datetime], str]) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        n = len(d.time_s)
        late = int(n * d.rng.uniform(0.05, 0.3))
        x = stamps(d)
        first = [before + timedelta(seconds=round(float(t), 3)) for t in d.time_s[:late]]
        d.set_clock(("Time", [form(s) for s in (*first, *x[late:])]))
        d.time_tolerance_s = 0.02 + d.flight.interval_s

    return apply


_ISO = "{:%Y-%m-%d %H:%M:%S}"
for _name, _first in (("2000", datetime(2000, 1, 1)), ("1970", datetime(1970, 1, 1)),
                      ("1980", datetime(1980, 1, 6))):  # fmt: skip
    kind("time", f"clock-set-late-{_name}", alone=True)(
        _set_late(_first, lambda s: _ISO.format(s) + _frac(s, 2))
    )


@kind("time", "clock-set-late-epoch", alone=True)
def clock_set_late_epoch(d: Draft) -> None:
    _set_late(datetime(1970, 1, 1), lambda s: f"{_epoch(s):.2f}")(d)


def _wrong_cells(form: str, count: int) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        rows = d.rng.choice(np.arange(5, len(d.time_s) - 5), count, replace=False)
        for k in rows:
            d.of("time")[0].cells[k] = form
            for c in d.data():
                c.values[k] = np.nan
        d.lenient = set(map(int, rows))

    return apply


kind("time", "wrong-cell-huge")(_wrong_cells("4294967295", 1))
kind("time", "wrong-cell-zero")(_wrong_cells("0", 1))
kind("time", "wrong-cell-negative")(_wrong_cells("-1", 2))
kind("time", "wrong-cell-garbage")(_wrong_cells("##:##", 2))
kind("time", "wrong-cell-blank")(_wrong_cells("", 3))


@kind("time", "first-cell-wrong")
def first_cell_wrong(d: Draft) -> None:
    d.of("time")[0].cells[0] = "99999999"
    d.lenient = {0}
    for c in d.data():
        c.values[0] = np.nan


@kind("time", "last-cell-wrong")
def last_cell_wrong(d: Draft) -> None:
    d.of("time")[0].cells[-1] = "99999999"
    d.lenient = {len(d.time_s) - 1}
    for c in d.data():
        c.values[-1] = np.nan


@kind("time", "wraps-16-bits")
def wraps_16_bits(d: Draft) -> None:
    d.set_clock(("Time [ms]", [f"{(1000 * t + 40000) % 65536:.0f}" for t in d.time_s]))
    d.time_tolerance_s = 0.003


@kind("time", "jitter")
def jitter(d: Draft) -> None:
    d.time_s = np.round(d.time_s + d.rng.uniform(0, 0.4, len(d.time_s)) * d.flight.interval_s, 3)
    d.time_s -= d.time_s[0]
    d.set_clock(("Time [s]", [f"{t:.3f}" for t in d.time_s]))


@kind("time", "gap")
def gap(d: Draft) -> None:
    """Half a minute is missing, before the flight."""
    n = len(d.time_s)
    hole = int(n * 0.02) + 1
    keep = np.ones(n, dtype=bool)
    keep[int(0.17 * n) : int(0.17 * n) + hole] = False
    d.keep_rows(keep)


@kind("time", "thousands-in-ms")
def thousands_in_ms(d: Draft) -> None:
    d.set_clock(("Time [ms]", [f"{1000 * t:,.0f}" for t in d.time_s]))
