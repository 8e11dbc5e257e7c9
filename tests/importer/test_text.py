"""Bytes to text: encodings, line ends, padding, and limits that hold against hostile files."""

from __future__ import annotations

import hashlib
import tracemalloc
from pathlib import Path

import pytest

from telemetry.importer.text.decoding import (
    MAX_LINE_BYTES,
    clean,
    decode,
    load,
    refuse_what_is_no_text,
)
from telemetry.model.errors import UnreadableLog

TEXT = "Zeit;Fläche links [°C];Höhenruder\n0,1;8,2;1\n"
GREEK = "χρόνος;τάση μπαταρίας;ρεύμα\n0,1;8,2;1\n"
JAPANESE = "時間;電池1 電圧[V];左翼の電流\n0,1;8,2;1\n"
POLISH = "Czas;Napięcie akumulatora;Prąd\n0,1;8,2;1\n"
RUSSIAN = "время;напряжение батареи;ток\n0,1;8,2;1\n"
CZECH = "Čas;Napětí baterie 1;Proud levé křídlo\n0,1;8,2;1\n"


@pytest.mark.parametrize(
    ("text", "encoding", "found"),
    [
        (TEXT, "utf-8", "utf-8"),
        (TEXT, "utf-8-sig", "utf-8"),
        (TEXT, "cp1252", "cp1252"),
        (TEXT, "cp850", "cp850"),
        (TEXT, "mac_roman", "mac_roman"),
        (CZECH, "cp1250", "cp1250"),
        (GREEK, "cp1253", "cp1253"),
        (JAPANESE, "cp932", "cp932"),
        (JAPANESE, "euc_jp", "euc_jp"),
        (POLISH, "cp1250", "cp1250"),
        (RUSSIAN, "cp1251", "cp1251"),
        (TEXT, "utf-16-le", "utf-16-le"),
        ("Time;U;I\n0,1;8,2;1\n", "utf-16-le", "utf-16-le"),
        (TEXT, "utf-16-be", "utf-16-be"),
        ("\ufeff" + TEXT, "utf-16-le", "utf-16-le"),
        ("\ufeff" + TEXT, "utf-32-be", "utf-32-be"),
    ],
)
def test_encodings_are_told_from_the_bytes(text: str, encoding: str, found: str) -> None:
    data, name, notes = decode(text.encode(encoding))
    assert name == found
    assert data.decode() == text.lstrip("\ufeff")
    assert notes == ()


def test_a_forced_encoding_is_used_or_refused() -> None:
    assert decode(TEXT.encode("cp1252"), encoding="cp1252")[0].decode() == TEXT
    with pytest.raises(UnreadableLog, match="cannot be read as 'utf-8'"):
        decode(TEXT.encode("cp1252"), encoding="utf-8")
    with pytest.raises(UnreadableLog, match="cannot be read as 'nonsense'"):
        decode(b"a", encoding="nonsense")


def test_a_character_cut_by_the_end_is_left_out_and_said() -> None:
    data, name, notes = decode("Wert °".encode()[:-1])
    assert (data, name) == (b"Wert ", "utf-8")
    assert notes == ("the last character is cut off",)


def test_a_few_wrong_bytes_in_utf8_are_replaced_and_counted() -> None:
    data, name, notes = decode("äöüßéñ Spannung ".encode() * 3 + b"\xff")
    assert name == "utf-8"
    assert data.endswith("\ufffd".encode())
    assert notes == ("1 byte is no UTF-8 and was replaced",)


def test_wrong_utf8_is_found_across_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("telemetry.importer.text.decoding.BLOCK_BYTES", 7)
    text = "abc°def°°°ghi€jkl" * 5
    assert decode(text.encode()) == (text.encode(), "utf-8", ())
    data, _, notes = decode(text.encode() + b"\xc3(" + text.encode())
    assert notes == ("1 byte is no UTF-8 and was replaced",)
    assert data.decode().count("\ufffd") == 1


@pytest.mark.parametrize(
    ("raw", "want"),
    [
        (b"a\r\nb\r\n", b"a\r\nb\r\n"),
        (b"a\rb\r", b"a\nb\n"),
        (b"a\r\r\nb\r\r\n", b"a\nb\n"),
        (b"a\r\nb\rc\n", b"a\nb\nc\n"),
    ],
)
def test_line_ends(raw: bytes, want: bytes) -> None:
    assert clean(raw) == (want, ())


def test_padding_is_cut_off_and_said() -> None:
    data, notes = clean(b"a;b\n1;2\n" + b"\0" * 100 + b"\x1a")
    assert data == b"a;b\n1;2\n"
    assert notes == ("101 bytes of padding behind the text left out",)


def test_what_is_no_text_is_refused_by_what_it_is() -> None:
    with pytest.raises(UnreadableLog, match=r"is a picture \(BMP\)"):
        refuse_what_is_no_text(b"BM" + (20).to_bytes(4, "little") + bytes(14))
    refuse_what_is_no_text(b"BM;1;2\n")  # a log may begin with these letters


def test_the_digest_is_of_the_file_as_it_lies_there(tmp_path: Path) -> None:
    raw = "\ufeffa;b\r\n1;2\r\n".encode("utf-16-le")
    path = tmp_path / "log.csv"
    path.write_bytes(raw)
    text = load(path)
    assert text.sha256 == hashlib.sha256(raw).hexdigest()
    assert text.size_bytes == len(raw)
    assert text.data == b"a;b\r\n1;2\r\n"


@pytest.mark.parametrize("where", ["first line", "later line", "quoted field"])
def test_a_line_of_ten_megabytes_is_refused_in_bounded_memory(tmp_path: Path, where: str) -> None:
    path = tmp_path / "log.csv"
    long = b"9" * 10_000_000
    row = b"0.1;8.2\n"
    raw = {
        "first line": long + b"\n" + row,
        "later line": row * 1000 + long + b"\n" + row,
        "quoted field": row * 1000 + b'0.2;"' + long + b'"\n' + row,
    }[where]
    path.write_bytes(raw)
    tracemalloc.start()
    try:
        with pytest.raises(UnreadableLog) as caught:
            load(path)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert f"the line is longer than {MAX_LINE_BYTES:,} bytes" in str(caught.value)
    assert caught.value.line == (1 if where == "first line" else 1001)
    assert peak < 4 * len(raw)


def test_the_limit_holds_to_the_byte(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b"a;b\n" + b"9" * MAX_LINE_BYTES + b"\n1;2\n")
    load(path)
    path.write_bytes(b"a;b\n" + b"9" * (MAX_LINE_BYTES + 1) + b"\n1;2\n")
    with pytest.raises(UnreadableLog):
        load(path)
