"""The text of a file: read whole or not at all, and only from what is a file."""

import os
from pathlib import Path

import pytest

from gateway.documents import read_text


def test_a_file_is_read_as_text(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"\xef\xbb\xbfa: \xc3\xa9\r\n")
    assert read_text(path) == "a: é\r\n"


def test_a_file_that_cannot_be_read_is_told_in_words(tmp_path: Path) -> None:
    (tmp_path / "binary").write_bytes(b"a: 1\nb: \xe9\n")
    (tmp_path / "wide").write_bytes("a: 1".encode("utf-16"))
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "long").write_bytes(b"x" * 11)
    for path, said in (
        (tmp_path / "none", "No such file or directory"),
        (tmp_path, "Is a directory"),
        (tmp_path / "binary", "it is no UTF-8 text, see its line 2: save it as UTF-8"),
        (tmp_path / "wide", "it is UTF-16: save it as UTF-8"),
        (tmp_path / "pipe", "it is no regular file"),
        (tmp_path / "long", "it is longer than 10 octets"),
        (tmp_path / "a\0b", "no file can have such a name"),
        (tmp_path / "\ud800", "no file can have such a name"),
        (Path("/dev/zero"), "it is no regular file"),
    ):
        with pytest.raises(OSError, match=said) as refusal:
            read_text(path, 10)
        assert refusal.value.strerror == said
