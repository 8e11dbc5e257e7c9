"""What is a time stamp: one grammar of tokens, not a list of formats.

A cell is taken apart into numbers, words and marks. Each becomes one letter of a signature: a
number its count of digits, a word what it means (a month, the unit of a number, a half of the
day), a mark itself. "18. Mai 2026 10:14:50 nachm." so reads ``2. M 4 2:2:2 A``. A stamp is a date,
a clock, or both, and what those look like is said once below.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

Span = tuple[int, int]

_TOKEN = re.compile(r"[0-9]+|[^\W\d_]\.\s?[^\W\d_]\.?(?![^\W_])|[^\W\d_]+\.?|.", re.DOTALL)
#: Longest cell that may be a stamp, characters: "Wednesday, 18 September 2026 10:14:50.123 p. m.".
_LONGEST = 64

# Beginnings of the months' names, without accents: English, German, French, Spanish, Italian,
# Dutch, Czech, Polish, Swedish, Danish, Norwegian, Finnish, Hungarian, Portuguese (dictionaries).
# "jui" would be June or July in French, so four letters stand there.
_MONTHS = {
    1: "jan ene gen led sty tammi",
    2: "feb fev uno lut helmi",
    3: "mar mrz maer maar mrt bre maalis",
    4: "apr avr abr dub kwi huhti",
    5: "may mai mag mei maj kve touko",
    6: "jun juin giu cervn cze kesa",
    7: "jul juil lug cervenec cervence lip heina",
    8: "aug aou ago srp sie elo",
    9: "sep set zar wrz szept syys",
    10: "oct okt out ott rij paz loka",
    11: "nov lis marras",
    12: "dec dez dic pro gru joulu des",
}
# Words for the halves of a day, before noon and after (Unicode CLDR, day periods "am" and "pm" of
# en, es, de, sv, cs, fi, hu, el, tr, ja, zh, ko; from memory).
_BEFORE_NOON = {"am", "vorm", "fm", "dop", "ap", "de", "πμ", "öö", "午前", "上午", "오전"}
_AFTER_NOON = {"pm", "nachm", "em", "odp", "ip", "du", "μμ", "ös", "午後", "下午", "오후"}
_WORDS = {
    "T": "t",
    "P": "p pt",
    "Z": "z utc gmt",
    "U": "uhr hrs",
    "d": "d day days tag tage jour jours dia dias giorno giorni dag dagen dni den 日",
    "h": "h hour hours std stunden heures 時 时",
    "m": "m min mins minute minutes minuten 分",
    "s": "s sec secs sek seconds sekunden 秒",
    "y": "年",
    "o": "月",
}
_ROLES = {word: role for role, words in _WORDS.items() for word in words.split()}

# One group a part: y year, mo month, d day; a, b, c three numbers whose order is open; h, mi, s, f
# clock and fraction; dd days gone by; z. the zone; ap a known half of the day, half an unknown one.
_DATES = (
    r"(?P<y>4)(?P<q>[-/.])(?P<mo>[12])(?P=q)(?P<d>[12])",
    r"(?P<y>4)y ?(?P<mo>[12])o ?(?P<d>[12])d",
    r"(?P<ymd>8)",
    r"(?P<a>[12])(?P<q>[-/.] ?)(?P<b>[12])(?P=q)(?P<c>[24])",
    r"(?P<six>6)(?=[T_ -]6)",
    r"(?:[GMd],? ?)?(?P<d>[12])\.?[-/ ]{0,2}(?:A )?(?P<month>M)[-/ ,]{0,2}(?:A )?(?P<c>[24])",
    r"(?:[Gd],? ?)?(?P<month>M) ?(?P<d>[12]),? (?P<y>4)",
    r"(?P<y>4)[-/ ]{1,2}(?P<month>M)[-/ ]{1,2}(?P<d>[12])",
)
_FRACTION = r"(?:[.,:](?P<f>[1-9]))?"
_COLONS = rf"(?P<h>[1-4]):(?P<mi>[12])(?::(?P<s>[12]))?{_FRACTION}"
_DOTTED = rf"(?P<h>[12])(?P<k>[.-])(?P<mi>2)(?P=k)(?P<s>2){_FRACTION}"
_PACKED = r"(?:(?P<hms>6)(?:[.,](?P<f>[1-9]))?|(?P<hm>4))"
_S_IN_UNITS = r"(?P<s>[1-7])(?:[.,](?P<f>[1-9]))? ?"
_IN_UNITS = rf"(?:(?P<h>[1-4]) ?h ?)?(?P<mi>[1-4]) ?[m'] ?{_S_IN_UNITS}(?:s|\"|\'\')?"
_HALF_BEFORE = r"(?:(?P<ap0>A) ?)?"
_HALF = r"(?: ?(?P<ap>A)| (?P<half>G))?"
_ZONE = r"(?: ?(?P<utc>Z)| ?[NU]| ?(?P<zs>[+-])(?:(?P<zh>2)(?::(?P<zm>2))?|(?P<zhm>4)))?"
_JOIN = r"(?:,? ?T ?|[ _:,-]|, | - )"
_ELAPSED = r"(?P<lead>[+-]|T[+-]?)?(?:(?P<dd>[1-5]) ?d,? ?T?|(?P<dd2>[1-5])\.(?=[12]:[12]:[12]))?"
_STAMPS = tuple(
    re.compile(pattern)
    for pattern in (
        rf"{_HALF_BEFORE}{_COLONS}{_HALF}{_ZONE}",
        *(
            rf"{date}\.?(?:{_JOIN}{_HALF_BEFORE}{clock}{_HALF}{_ZONE})?"
            for date in _DATES
            for clock in (_COLONS, _DOTTED, _PACKED, _IN_UNITS)
        ),
        rf"(?:G,? ?)?(?P<month>M) {{1,2}}(?P<d>[12]) {_COLONS}(?: [ZN])? (?P<y>4)",
        rf"{_ELAPSED}(?:{_COLONS})",
        rf"(?P<lead>P|T\+)?(?:(?P<dd>[1-5]) ?d,? ?T?)?{_IN_UNITS}",
        rf"{_HALF_BEFORE}{_IN_UNITS}",
        rf"(?P<h>[12])(?P<k>[.-])(?P<mi>2)(?P=k)(?P<s>2)[.,:](?P<f>[1-9]){_HALF}{_ZONE}",
        rf"(?P<lead>T\+){_S_IN_UNITS}s?",
        rf"(?P<lead>P){_S_IN_UNITS}s",
        rf"\[{_COLONS}\]",
        rf"\[{_S_IN_UNITS}s?\]",
    )
)
# Groups of digits that hold more than one number: which, and how many digits each.
_PACKS = {
    "ymd": (("y", 4), ("mo", 2), ("d", 2)),
    "six": (("a", 2), ("b", 2), ("c", 2)),
    "hms": (("h", 2), ("mi", 2), ("s", 2)),
    "hm": (("h", 2), ("mi", 2)),
    "zhm": (("zh", 2), ("zm", 2)),
}


@dataclass(frozen=True, slots=True)
class StampShape:
    """How one cell is a stamp, and all cells that differ from it only in their digits.

    Attributes
    ----------
    digits : dict of str to (int, int)
        Bytes of the cell, first and behind the last, that hold each part of the stamp in digits:
        ``y`` year, ``mo`` month, ``d`` day, ``a`` ``b`` ``c`` a date whose order is open, ``h``,
        ``mi``, ``s``, ``f`` hours to fractions of a second, ``dd`` days gone by, ``zh`` and ``zm``
        hours and minutes of the zone.
    month : int
        Month that a word names, 0 without.
    afternoon : int
        0 before noon, 1 after, -1 where no word tells, 2 where a word does that is not known.
    zone : int
        1 east of Greenwich or at it, -1 west, 0 where no zone is named.
    negative : bool
        A time before zero.
    elapsed : bool
        The stamp says that it counts from a start.
    """

    digits: dict[str, Span]
    month: int = 0
    afternoon: int = -1
    zone: int = 0
    negative: bool = False
    elapsed: bool = False


def stamp_shape(text: str) -> StampShape | None:
    """The shape of a cell that is a time stamp, None for any other cell.

    Parameters
    ----------
    text : str
        Without blanks around it.
    """
    if not text or len(text) > _LONGEST:
        return None
    tokens = _TOKEN.findall(text)
    found = _matched("".join(map(_letter, tokens)))
    if found is None:
        return None
    ends = [0]
    for token in tokens:
        ends.append(ends[-1] + len(token.encode()))
    digits: dict[str, Span] = {}
    month, afternoon, zone, lead = 0, -1, 0, ""
    for name, at in found:
        token = tokens[at]
        if name in _PACKS:
            begin = ends[at]
            for part, width in _PACKS[name]:
                digits[part] = (begin, begin + width)
                begin += width
        elif name == "month":
            month = month_of(token)
        elif name in ("ap", "ap0"):
            afternoon = int(_folded(token) in _AFTER_NOON)
        elif name == "half":
            afternoon = 2
        elif name in ("utc", "zs"):
            zone = -1 if token == "-" else 1
        elif name == "lead":
            lead = token.upper() + "-" * (tokens[at + 1] == "-") + "+" * (tokens[at + 1] == "+")
        else:
            digits["dd" if name == "dd2" else name] = (ends[at], ends[at + 1])
    if afternoon == 2 and "s" not in digits:
        return None  # "Node 1:2 top": a word behind two numbers is no half of a day
    return StampShape(
        digits,
        month,
        afternoon,
        zone,
        negative="-" in lead,
        elapsed=lead not in ("", "T") or "dd" in digits,
    )


@lru_cache(maxsize=4096)
def _matched(signature: str) -> tuple[tuple[str, int], ...] | None:
    """Which letter of a signature is which part of a stamp; None where it is no stamp."""
    for pattern in _STAMPS:
        match = pattern.fullmatch(signature)
        if match is not None:
            parts = {name: match.start(name) for name in match.groupdict()}
            return tuple((n, at) for n, at in parts.items() if at >= 0 and n not in ("q", "k"))
    return None


def _letter(token: str) -> str:
    """The letter of the signature that stands for a token."""
    if "0" <= token[0] <= "9":
        return str(len(token)) if len(token) < 10 else "L"
    if not token[0].isalpha():
        return token if token not in "\t\u00a0\u202f" else " "
    word = _folded(token)
    role = _ROLES.get(word)
    if role is not None:
        return role
    if word in _BEFORE_NOON or word in _AFTER_NOON:
        return "A"
    if month_of(token):
        return "M"
    return "N" if len(token) > 2 and token.isascii() and token.isupper() else "G"


def _folded(word: str) -> str:
    """A word without case, dots and blanks: "A. M." is "am"."""
    return re.sub(r"[.\s]", "", word.casefold())


def month_of(word: str) -> int:
    """The month a word names, 1 to 12, by its first letters; 0 for another word.

    Parameters
    ----------
    word : str
    """
    flat = unicodedata.normalize("NFKD", word.casefold())
    flat = "".join(ch for ch in flat if not unicodedata.combining(ch))
    best, size = 0, 0
    if len(flat.rstrip(".")) < 3:
        return 0
    for number, stems in _MONTHS.items():
        for stem in stems.split():
            if flat.startswith(stem) and len(stem) > size:
                best, size = number, len(stem)
    return best
