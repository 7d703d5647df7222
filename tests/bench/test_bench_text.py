"""Bytes -> lines: every encoding, line end and stray byte that files of instruments have been seen with."""

import pytest

from hbsim.bench.text import decode, read_text
from hbsim.errors import Refusal

LINES = ["Freq;I [µA]", "1;2"]


@pytest.mark.parametrize(("raw", "encoding", "notes"), [
    ("Freq;I [µA]\n1;2\n".encode(), "utf-8", 0),
    (b"\xef\xbb\xbf" + "Freq;I [µA]\n1;2\n".encode(), "utf-8", 0),
    (b"\xff\xfe" + "Freq;I [µA]\n1;2\n".encode("utf-16-le"), "utf-16-le", 0),
    (b"\xfe\xff" + "Freq;I [µA]\n1;2\n".encode("utf-16-be"), "utf-16-be", 0),
    ("Freq;I [µA]\n1;2\n".encode("utf-16-le"), "utf-16-le", 1),
    (b"Freq;I [\xb5A]\n1;2\n", "cp1252", 1),
    ("Freq;I [µA]\r\n1;2\r\n".encode(), "utf-8", 0),
    ("Freq;I [µA]\r1;2\r".encode(), "utf-8", 0),
    ("Freq;I [µA]\r\r\n1;2\r\r\n".encode(), "utf-8", 0),
    ("Freq;I [µA]\r\n1;2".encode(), "utf-8", 0),
    ("Freq;I [µA]\n1;2\n\x1a".encode(), "utf-8", 0),
    ("Fr\x00eq;I [µA]\n1;2\n".encode(), "utf-8", 1),
], ids=["plain", "mark", "utf-16", "utf-16 big", "utf-16 no mark", "cp1252", "crlf", "cr", "cr cr lf", "no end",
        "ctrl-z", "nul"])
def test_encodings_and_line_ends(raw, encoding, notes):
    text = decode(raw, "x.csv")
    assert text.lines == LINES
    assert text.encoding == encoding
    assert len(text.notes) == notes


def test_empty_lines_are_kept_and_those_of_text_mode_twice_are_none():
    assert decode(b"a\n\nb\n").lines == ["a", "", "b"]
    assert decode(b"a\r\r\n\r\r\nb\r\r\n").lines == ["a", "", "b"]


@pytest.mark.parametrize(("raw", "words"), [
    (b"PK\x03\x04....", "spreadsheet"), (b"\xd0\xcf\x11\xe0....", "spreadsheet"), (b"%PDF-1.4", "PDF"),
    (b"", "no data rows"), (b"\n \n", "no data rows"), (b"\xff\xfe\x00", "UTF-16"),
])
def test_what_is_no_text_is_refused(raw, words):
    with pytest.raises(Refusal, match=words):
        decode(raw, "x.csv")


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    with pytest.raises(Refusal, match="no such file"):
        read_text(tmp_path / "nothing.csv")
    with pytest.raises(Refusal, match="folder"):
        read_text(tmp_path)
    with pytest.raises(Refusal, match="cannot be read"):
        read_text("a\x00b")
