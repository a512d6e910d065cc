"""Compressed files, held to the standard library's gzip and to the zstd library, which made them."""

import contextlib
import gzip
import io
import sys
import zlib
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.groundwork.expanding import (
    GZIP_MARK,
    MOST_EXPANSION,
    PIECE_OCTETS,
    UNSUSPICIOUS_OCTETS,
    ZSTD_MARK,
    CompressionError,
    expanded,
)
from tests.frames.strategies import splits

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd

Compress = Callable[[bytes], bytes]

contents = st.binary(max_size=300) | st.binary(max_size=20).map(lambda octets: octets * 5_000)
compressions = st.sampled_from([gzip.compress, zstd.compress])
with_each_compression = pytest.mark.parametrize("compress", [gzip.compress, zstd.compress], ids=["gzip", "zstd"])


class Pipe(io.RawIOBase):
    """What comes through a pipe, each read no more than one of the pieces."""

    def __init__(self, *pieces: bytes) -> None:
        self._pieces = [piece for piece in pieces if piece]

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override] # all that is used
        if not self._pieces:
            return 0
        piece = self._pieces.pop(0)
        taken, rest = piece[: len(buffer)], piece[len(buffer) :]
        if rest:
            self._pieces.insert(0, rest)
        buffer[: len(taken)] = taken
        return len(taken)


def expand(*pieces: bytes) -> bytes:
    return b"".join(expanded(io.BufferedReader(Pipe(*pieces))))


def before_the_error(*pieces: bytes) -> tuple[bytes, str]:
    """What comes out before the error, and what the error says."""
    octets = bytearray()
    try:
        for piece in expanded(io.BufferedReader(Pipe(*pieces))):
            octets += piece
    except CompressionError as error:
        return bytes(octets), str(error)
    raise AssertionError("no error")


@settings(deadline=None)
@given(contents.filter(lambda octets: not octets.startswith((GZIP_MARK, ZSTD_MARK))), st.data())
def test_what_is_not_compressed_comes_back_as_it_is(content: bytes, drawn: st.DataObject) -> None:
    assert expand(*drawn.draw(splits(content))) == content


@pytest.mark.parametrize("content", [b"", b"\x1f", b"\x1f\x8a", b"(", b"\x28\xb5\x2f", b"(no mark", b"\x1f plain"])
def test_the_beginning_of_a_mark_is_none(content: bytes) -> None:
    assert expand(*(bytes([octet]) for octet in content)) == content


@settings(deadline=None)
@given(st.lists(contents, min_size=1, max_size=4), compressions, st.data())
def test_members_in_a_row_are_expanded_however_the_bytes_come(
    parts: list[bytes], compress: Compress, drawn: st.DataObject
) -> None:
    compressed = b"".join(map(compress, parts))
    assert expand(*drawn.draw(splits(compressed))) == b"".join(parts)


@with_each_compression
def test_members_in_a_row_are_expanded_where_each_octet_comes_alone(compress: Compress) -> None:
    compressed = compress(b"one") + compress(b"two")
    assert expand(*(bytes([octet]) for octet in compressed)) == b"onetwo"


def test_zeros_after_a_gzip_member_are_padding() -> None:
    member = gzip.compress(b"one")
    assert expand(member, b"\0" * 500) == b"one"
    assert expand(member + b"\0\0", b"\0" + gzip.compress(b"two") + b"\0") == b"onetwo"


@with_each_compression
def test_what_has_come_is_expanded_before_more_comes(compress: Compress) -> None:
    class Endless(Pipe):
        def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override] # all that is used
            octets = super().readinto(buffer)
            assert octets, "it should not have been asked for yet"
            return octets

    pieces = expanded(io.BufferedReader(Endless(compress(b"a line\n"))))
    assert next(pieces) == b"a line\n"


@with_each_compression
def test_what_expands_a_hundredfold_comes_in_bounded_pieces(compress: Compress) -> None:
    block = bytes(range(256)) * 40 + b"\0" * 30_000
    sizes = [len(piece) for piece in expanded(io.BufferedReader(Pipe(compress(block * 200))))]
    assert sum(sizes) == 200 * len(block)
    assert max(sizes) <= PIECE_OCTETS


@with_each_compression
def test_a_bomb_is_refused_before_it_has_cost_much(compress: Compress) -> None:
    bomb = compress(bytes(2 * UNSUSPICIOUS_OCTETS))
    octets, because = before_the_error(bomb)
    assert because == f"it expands more than {MOST_EXPANSION} times, which nothing heard does"
    assert len(octets) <= UNSUSPICIOUS_OCTETS


@with_each_compression
def test_what_is_cut_off_anywhere_gives_what_it_holds_and_then_says_so(compress: Compress) -> None:
    content = bytes(range(256)) * 40
    compressed = compress(content)
    for length in range(5, len(compressed)):
        octets, because = before_the_error(compressed[:length])
        assert content.startswith(octets)
        assert because == "it is cut off in the middle of its compressed data"


def test_what_was_flushed_before_the_cut_is_there_to_the_last_octet() -> None:
    deflater = zlib.compressobj(wbits=31)
    flushed = deflater.compress(b"a line\n") + deflater.flush(zlib.Z_SYNC_FLUSH)
    unflushed = deflater.compress(b"another line\n" * 1000)
    assert before_the_error(flushed + unflushed)[0].startswith(b"a line\n")


def test_damage_is_named_after_what_stood_before_it() -> None:
    deflater = zlib.compressobj(wbits=31)
    flushed = deflater.compress(b"a line\n") + deflater.flush(zlib.Z_SYNC_FLUSH)
    assert before_the_error(flushed, b"\xff" * 100) == (b"a line\n", "its gzip data is damaged")
    assert before_the_error(gzip.compress(b"a line\n") + b"junk") == (b"a line\n", "its gzip data is damaged")
    assert before_the_error(zstd.compress(b"a line\n") + b"\xff" * 100) == (
        b"a line\n",
        "its zstd data is damaged, or needs a window of more than 8 MB",
    )


def test_a_zstd_window_beyond_what_every_decoder_must_take_is_refused() -> None:
    wide = {int(zstd.CompressionParameter.compression_level): 1, int(zstd.CompressionParameter.window_log): 27}
    compressor = zstd.ZstdCompressor(options=wide)
    compressed = compressor.compress(bytes(1000)) + compressor.flush()
    assert before_the_error(compressed)[1].endswith("needs a window of more than 8 MB")


def test_without_the_zstd_library_the_operator_is_told_which_extra_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "backports", None)
    monkeypatch.setitem(sys.modules, "compression", None)
    assert "install Stile's extra `zstd`" in before_the_error(zstd.compress(b"one"))[1]


@settings(deadline=None)
@given(st.sampled_from([b"", GZIP_MARK + b"\x08\x00", ZSTD_MARK]), st.binary(max_size=400), st.data())
def test_any_bytes_at_all_expand_or_are_named_as_damaged(mark: bytes, octets: bytes, drawn: st.DataObject) -> None:
    with contextlib.suppress(CompressionError):
        expand(*drawn.draw(splits(mark + octets)))


@settings(deadline=None)
@given(contents, compressions, st.data())
def test_one_changed_octet_ends_no_reader(content: bytes, compress: Compress, drawn: st.DataObject) -> None:
    compressed = bytearray(compress(content))
    place = drawn.draw(st.integers(0, len(compressed) - 1))
    compressed[place] ^= drawn.draw(st.integers(1, 255))
    with contextlib.suppress(CompressionError):
        expand(bytes(compressed))
