"""A header cell taken apart: its unit and its words.

"Pack 1 U [mV]" -> words (Pack, 1, U), unit mV. The words carry their dictionary meanings;
`telemetry.importer.names.header` composes them into readings.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache

from telemetry.importer.names.words import (
    PAIRS,
    Meaning,
    Role,
    by_script,
    dictionary,
    fold,
    meanings,
    phrases,
    split_compound,
)
from telemetry.model.channels import CANONICAL_UNIT, Quantity
from telemetry.model.units import UNITS, Unit, parse_unit

_BRACKETED = re.compile(r"[\[({<]([^\[\](){}<>]*)[\])}>]")
_SCALED = re.compile(
    r"(?:(?P<num>\d{1,7}(?:[.,]\d{1,7})?)\s*(?:/\s*(?P<den>\d{1,7}))?\s*[*x\u00d7]?\s*"
    r"(?P<unit>[^\d\s].*)"
    r"|(?P<unit2>.*\D)\s*(?:[*x\u00d7]\s*(?P<mul>\d{1,7}(?:[.,]\d{1,7})?)|/\s*(?P<div>10{1,7})))"
)
# Units that one letter names; as the last word of a header they may as well be an index or a side.
_LETTER_UNITS = frozenset("VAWCsmghvaK%")
# Words that are units in the table and something else in a header.
_NO_UNIT_AS_WORD = frozenset({"min", "as", "h", "g", "s", "m", "deg", "a s", "a h", "kt", "kn"})
_GLUED = re.compile(r"(?P<head>.*[\d)\]])(?P<unit>mAh|mV|mA|mW|cV|Ah|Wh|V|A|W|C|%)")
_GLUED_LONG = re.compile(r"(?P<head>.*[a-z])(?P<unit>mAh|mV|mA|Ah|Wh|dBm|Volt|Amp)")
_GLUED_FRONT = re.compile(r"(?P<unit>mAh|mWh|mV|mA|Ah|Wh)(?P<rest>[^\W\d_]{3,})", re.IGNORECASE)
_LEADING = re.compile(
    r"(?P<unit>mAh|mV|mA|Ah|Wh|dBm|dB|V|A|W|%|\u00b0C|\u00b0F|rpm)[\s_:.-]+(?P<rest>\S.*)"
)
#: Letters from which on a beginning is taken for a word, behind which a dot says that it is one cut
#: short, and without a dot (heuristic).
_SHORTENED, _BEGUN = 3, 5
_TIME_FORM = re.compile(r"[hmsHMSdDtjJ:./\-YyfzZTAa ,]{4,30}")


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a header.

    Attributes
    ----------
    text : str
        As in the file.
    meanings : tuple of Meaning
        () for a word that the dictionary does not know.
    number : int or None
        Value of a word of digits.
    sure : bool
        False where the meaning rests on an abbreviation that was completed.
    """

    text: str
    meanings: tuple[Meaning, ...] = ()
    number: int | None = None
    sure: bool = True

    def has(self, role: Role, value: str | None = None) -> bool:
        """True where one of the meanings has this role (and value)."""
        return any(m.role is role and (value is None or m.value == value) for m in self.meanings)

    def value(self, role: Role) -> str:
        """Value of the first meaning with this role."""
        return next(m.value for m in self.meanings if m.role is role)


@dataclass(frozen=True, slots=True, kw_only=True)
class Name:
    """A header taken apart.

    Attributes
    ----------
    text : str
        As in the file, sensor first where the file has a sensor row.
    words : tuple of Word
    unit : Unit or None
    unit_from : str
        "row", "brackets", "name" or "" where there is none.
    letter_unit : bool
        True where the unit is one bare letter at the end ("Pack A"), which may be an index.
    time_form : str
        A time format found where a unit would stand ("hh:mm:ss").
    """

    text: str
    words: tuple[Word, ...]
    unit: Unit | None = None
    unit_from: str = ""
    letter_unit: bool = False
    time_form: str = ""


def parse_scaled(text: str) -> Unit | None:
    """A unit, also with a plain factor: "mV", "0.01 V", "1/10 A", "V*100", "V/10".

    Parameters
    ----------
    text : str

    Returns
    -------
    Unit or None
        "V/10" and "V*0.1" both mean that one count is a tenth of a volt.
    """
    bare = text.strip().strip("[](){}<>").strip()
    # A degree sign that was lost on the way: "?C".
    bare = re.sub(r"^[?\ufffd\u00c2]+(?=\u00b0?[CF]$)", "", bare)
    bare = f"\u00b0{bare}" if bare in ("C", "F") and bare != text.strip() else bare
    found = parse_unit(bare)
    if found is not None or not bare:
        return found
    if bare in ("C", "\u00b0"):
        return UNITS["degC"] if bare == "C" else UNITS["deg"]
    match = _SCALED.fullmatch(bare)
    if match is None:
        return None
    unit = parse_unit(match["unit"] or match["unit2"] or "")
    if unit is None or unit.offset:
        return None
    number = float((match["num"] or match["mul"] or "1").replace(",", "."))
    divisor = float(match["den"] or match["div"] or "1")
    if number <= 0 or divisor <= 0:
        return None
    if match["mul"] and number > 1:
        # "V*100" says that the values were multiplied by a hundred.
        number = 1 / number
    return replace(unit, symbol=bare, factor=unit.factor * number / divisor)


@lru_cache(maxsize=4096)
def take_apart(name: str, unit_text: str = "", sensor: str = "") -> Name:
    """Split a header cell into its unit and its words.

    Parameters
    ----------
    name : str
        Header text.
    unit_text : str
        What the unit row says, "" for none.
    sensor : str
        What the sensor row says, "" for none.

    Returns
    -------
    Name
    """
    text = f"{sensor} {name}".strip() if sensor else name
    name, sensor, unit_text = map(_mended, (name, sensor, unit_text))
    row_unit = parse_scaled(unit_text) if unit_text.strip() else None
    bare, unit, unit_from, letter, form = _find_unit(name)
    if row_unit is not None:
        # The letter at the end belongs to the name again where the unit row settles the unit.
        if letter and unit is not None and unit.canonical != row_unit.canonical:
            bare = name
        unit, unit_from, letter = row_unit, "row", False
    elif unit_text.strip() and _looks_like_time_form(unit_text):
        form = unit_text.strip()
    words = (*split_words(sensor), *split_words(bare))
    return Name(
        text=text, words=words, unit=unit, unit_from=unit_from, letter_unit=letter, time_form=form
    )


# Blanks, letters and kana of another width, and units in one character.
_OTHER_WIDTH = re.compile("[\u3000\u3300-\u33ff\uff01-\uffee\u2103\u2109]+")


def _mended(text: str) -> str:
    """Text in letters of the usual width, and put right where it was decoded wrong ("FlÃ¤che")."""
    text = _OTHER_WIDTH.sub(lambda m: unicodedata.normalize("NFKC", m.group()), text)
    if "\u00c3" not in text and "\u00c2" not in text:
        return text
    try:
        return text.encode("cp1252").decode("utf-8")
    except UnicodeError:
        return text


def _looks_like_time_form(text: str) -> bool:
    bare = text.strip().strip("[](){}<>").strip()
    return (
        _TIME_FORM.fullmatch(bare) is not None
        and "m" in bare.casefold()
        and any(part in bare.casefold() for part in (":", "ss", "yy", "jj"))
    )


def _find_unit(name: str) -> tuple[str, Unit | None, str, bool, str]:
    """(name without unit, unit, where from, whether a bare letter, time form)."""
    form = ""
    tail = re.fullmatch(r"(?P<head>.*\S)(?P<gap>[\s_]+)(?P<hold>[^\W\d_]+)", name.strip())
    if tail is not None and any(m.role is Role.HOLD for m in meanings(tail["hold"])):
        # "Pack 1 A max": the unit stands before the hold.
        head, unit, where, letter, form = _find_unit(tail["head"])
        if unit is not None and head:
            return f"{head} {tail['hold']}", unit, where, letter, form
        form = ""
    for match in reversed(list(_BRACKETED.finditer(name))):
        inner = match.group(1)
        unit = parse_scaled(inner)
        bare = f"{name[: match.start()]} {name[match.end() :]}".strip()
        if inner.strip().casefold() == "min" and any(
            w.has(Role.QUANTITY) for w in split_words(bare)
        ):
            continue  # "Voltage (min)": the lowest, not minutes
        if unit is not None:
            return _without_unit(bare, unit), unit, "brackets", inner.strip() == "C", ""
        if _looks_like_time_form(inner):
            return bare, None, "", False, inner.strip()
        if inner.strip().casefold() in ("-", "", "1", "none", "n/a"):
            name = bare
    stripped = name.strip()
    whole = _word_unit(stripped)
    if whole is not None and stripped:
        return "", whole, "name", len(stripped) == 1, ""
    for pattern in (
        r"(?P<head>.*\S)[\s_]+(?P<unit>\S{1,9})",
        r"(?P<head>.*\S)\s*(?:,|;|\||=)\s*(?P<unit>\S{1,9})",
        r"(?P<head>.*\S)\s*/\s*(?P<unit>[^\W\d]{1,4}|%|\u00b0[CF]?)",
        r"(?P<head>.*\S)[-.:](?P<unit>\S{1,5})",
    ):
        match2 = re.fullmatch(pattern, stripped)
        if match2 is None:
            continue
        unit = _word_unit(match2["unit"])
        if unit is not None:
            head = match2["head"].rstrip(" ,;:|=-_/")
            if fold(head).endswith(" in"):
                head = head[:-3]
            return head, unit, "name", len(match2["unit"]) == 1, form
        if pattern.startswith(r"(?P<head>.*\S)\s*(?:,") and parse_scaled(match2["unit"]):
            return match2["head"], parse_scaled(match2["unit"]), "name", False, form
    leading = _LEADING.fullmatch(stripped)
    if leading is not None and not re.fullmatch(r"\d.*", leading["rest"]):
        return leading["rest"], parse_unit(leading["unit"]), "name", len(leading["unit"]) == 1, form
    glued = _GLUED.fullmatch(stripped)
    if glued is not None:
        return glued["head"], parse_scaled(glued["unit"]), "name", len(glued["unit"]) == 1, form
    glued = _GLUED_LONG.fullmatch(stripped)
    if glued is not None:
        last = re.split(r"[^a-zA-Z]", glued["head"])[-1]
        if fold(last) in dictionary() or any(
            w.meanings for w in _split_letters(last, _BEGUN, PAIRS)
        ):
            return glued["head"], parse_unit(glued["unit"]), "name", False, form
    front = _GLUED_FRONT.fullmatch(stripped)
    if front is not None:
        # "mAhverbraucht": a unit and a word of the quantity that has this unit.
        unit = parse_unit(front["unit"])
        named = {m.value for m in meanings(front["rest"]) if m.role is Role.QUANTITY}
        if unit is not None and {CANONICAL_UNIT.get(Quantity(q)) for q in named} == {
            unit.canonical
        }:
            return front["rest"], unit, "name", False, form
    return stripped, None, "", False, form


def _without_unit(name: str, unit: Unit) -> str:
    """A name without the word that says its unit once more: "Pack 1 mAh [mAh]"."""
    pieces = re.split(r"([\s_.:/-]+)", name)
    for at in (len(pieces) - 1, 0):
        if len(pieces) > 1 and len(pieces[at]) > 1 and _word_unit(pieces[at]) == unit:
            return "".join(pieces[:at] + pieces[at + 1 :]).strip(" _.:/-")
    return name


def _word_unit(word: str) -> Unit | None:
    """The unit that a bare word at the end of a name stands for, None where it may be a word."""
    if not word:
        return None
    if len(word) == 1:
        known = word in _LETTER_UNITS
        return UNITS["degC"] if word == "C" else parse_unit(word) if known else None
    unit = parse_unit(word)
    if unit is None or word.strip("[](){}<>").casefold() in _NO_UNIT_AS_WORD:
        return None
    return unit


@lru_cache(maxsize=4096)
def split_words(text: str) -> tuple[Word, ...]:
    """Words of a header: split at signs, digits, changes of case, and inside compounds.

    Parameters
    ----------
    text : str

    Returns
    -------
    tuple of Word
    """
    found = _joined(_split_runs(text, PAIRS))
    if sum(w.has(Role.SIDE) for w in found) > 1:
        # "LwLi" beside "LwRe": a code for a part, behind which stands its side.
        found = _joined(_split_runs(text, {p: x for p, x in PAIRS.items() if x[-1] != "wing"}))
    return tuple(found)


def _split_runs(text: str, pairs: Mapping[str, tuple[str, ...]]) -> list[Word]:
    found: list[Word] = []
    for match in re.finditer(r"\d+|[^\W\d_]+(?:\u00b0)?(?:\.(?!\S))?", text):
        run = match.group()
        if run.isdecimal():
            found.append(Word(run, number=int(run[:9])))
        else:
            least = _SHORTENED if run.endswith(".") else _BEGUN
            for piece in by_script(run.rstrip(".\u00b0")):
                found.extend(_split_letters(piece, least, pairs))
    return found


def _joined(words: list[Word]) -> list[Word]:
    """Words that mean something together as one: "state of charge"."""
    folded = [fold(w.text) for w in words]
    for phrase in phrases():
        size = len(phrase)
        for i in range(len(words) - size + 1):
            # "Capacity left", but the left wing of "capacity left wing".
            behind = words[i + size].meanings if i + size < len(words) else ()
            if tuple(folded[i : i + size]) == phrase and not any(
                m.role is Role.BODY for m in behind
            ):
                entry = Word(
                    " ".join(w.text for w in words[i : i + size]), dictionary()[" ".join(phrase)]
                )
                return _joined([*words[:i], entry, *words[i + size :]])
    return words


def _split_letters(run: str, least: int, pairs: Mapping[str, tuple[str, ...]]) -> tuple[Word, ...]:
    known = meanings(run)
    if known:
        return (Word(run, known),)
    if fold(run) in pairs:
        return tuple(Word(part, meanings(part)) for part in pairs[fold(run)])
    pieces = _camel(run)
    if len(pieces) > 1:
        words = [w for piece in pieces for w in _split_letters(piece, least, pairs)]
        if all(w.meanings or len(w.text) <= 2 for w in words) or run[0].islower():
            return tuple(words)
        if any(w.meanings for w in words):
            return tuple(words)
    parts = split_compound(fold(run))
    if parts:
        return tuple(Word(part, meanings(part)) for part in parts)
    completed = _complete(fold(run)) if len(run) >= least else ()
    if completed:
        return (Word(run, completed, sure=False),)
    if len(run) > 4 and run[-1] in "lrLR" and any(m.role is Role.BODY for m in meanings(run[:-1])):
        return (Word(run[:-1], meanings(run[:-1])), Word(run[-1]))
    return (Word(run),)


def _camel(run: str) -> list[str]:
    """Split at changes of case: "PanelLCurrent" -> Panel, L, Current; "NOSEAkku" -> NOSE, Akku."""
    if run.islower() or run.isupper() or run.istitle():
        return [run]
    pieces = [run[0]]
    for i in range(1, len(run)):
        before, here = run[i - 1], run[i]
        ahead = run[i + 1] if i + 1 < len(run) else ""
        starts = here.isupper() and (before.islower() or bool(ahead and ahead.islower()))
        if starts:
            pieces.append(here)
        else:
            pieces[-1] += here
    return pieces


@cache
def _complete(word: str) -> tuple[Meaning, ...]:
    """Meaning of an abbreviation or an inflected form.

    All dictionary words that begin so must mean the same.
    """
    found = {m for w, ms in dictionary().items() if w.startswith(word) for m in ms[:1]}
    if not found and len(word) > 5:
        # An inflected form: the dictionary's word and an ending ("akumulátor-u").
        found = {
            m
            for cut in (1, 2, 3)
            for m in dictionary().get(word[:-cut], ())[:1]
            if len(word) - cut >= 5
        }
    return tuple(found) if len(found) == 1 else ()
