"""Compressed captures, held to the standard library's gzip and to the zstd library."""

import contextlib
import gzip
import sys
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.frames.decompression import GZIP_MARK, PIECE_OCTETS, ZSTD_MARK, CompressionError, Decompressor
from tests.frames.strategies import splits

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd

contents = st.binary(max_size=300) | st.binary(max_size=20).map(lambda octets: octets * 20_000)
compressions = st.sampled_from([gzip.compress, zstd.compress])


def expand(*data: bytes) -> bytes:
    decompressor = Decompressor()
    return b"".join([*(piece for each in data for piece in decompressor.feed(each)), *decompressor.end()])


def before_the_error(*data: bytes) -> tuple[bytes, str]:
    """What comes out before the error, and what the error says."""
    decompressor = Decompressor()
    expanded = bytearray()
    try:
        for pieces in [*(decompressor.feed(each) for each in data), decompressor.end()]:
            for octets in pieces:
                expanded += octets
    except CompressionError as error:
        return bytes(expanded), str(error)
    raise AssertionError("no error")


def expand_or_name(*data: bytes) -> None:
    """Nothing but a `CompressionError` may come of it."""
    with contextlib.suppress(CompressionError):
        expand(*data)


@settings(deadline=None)
@given(contents.filter(lambda octets: octets[:1] not in {b"\x1f", b"\x28"}), st.data())
def test_what_is_not_compressed_comes_back_as_it_is(content: bytes, drawn: st.DataObject) -> None:
    assert expand(*drawn.draw(splits(content))) == content


@pytest.mark.parametrize("content", [b"\x1f", b"\x1f\x8a", b"(", b"\x28\xb5\x2f", b"(no mark", b"\x1f plain"])
def test_the_beginning_of_a_mark_is_none(content: bytes) -> None:
    assert expand(*(bytes([octet]) for octet in content)) == content


@settings(deadline=None)
@given(st.lists(contents, min_size=1, max_size=4), compressions, st.data())
def test_members_in_a_row_are_expanded_however_the_bytes_come(
    parts: list[bytes], compress: object, drawn: st.DataObject
) -> None:
    assert callable(compress)
    compressed = b"".join(compress(part) for part in parts)
    assert expand(*drawn.draw(splits(compressed))) == b"".join(parts)


@pytest.mark.parametrize("compress", [gzip.compress, zstd.compress])
def test_zeros_after_a_member_are_padding(compress: object) -> None:
    assert callable(compress)
    member = compress(b"one")
    assert expand(member, b"\0" * 500) == b"one"
    assert expand(member + b"\0\0", b"\0" + compress(b"two") + b"\0") == b"onetwo"


@pytest.mark.parametrize("compress", [gzip.compress, zstd.compress])
def test_what_expands_a_thousandfold_comes_in_bounded_pieces(compress: object) -> None:
    assert callable(compress)
    octets = 50_000_000
    decompressor = Decompressor()
    sizes = [len(piece) for piece in decompressor.feed(compress(bytes(octets)))]
    assert sum(sizes) == octets
    assert max(sizes) <= PIECE_OCTETS


@pytest.mark.parametrize("compress", [gzip.compress, zstd.compress])
def test_a_stream_that_is_cut_off_anywhere_gives_what_it_holds_and_then_says_so(compress: object) -> None:
    assert callable(compress)
    content = bytes(range(256)) * 40
    compressed = compress(content)
    for length in range(5, len(compressed)):
        expanded, because = before_the_error(compressed[:length])
        assert content.startswith(expanded)
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
    sound = zstd.compress(b"a line\n")
    assert before_the_error(sound + b"\xff" * 100) == (
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
    data = mark + octets
    expand_or_name(*drawn.draw(splits(data)))


@settings(deadline=None)
@given(contents, compressions, st.data())
def test_one_changed_octet_ends_no_reader(content: bytes, compress: object, drawn: st.DataObject) -> None:
    assert callable(compress)
    compressed = bytearray(compress(content))
    place = drawn.draw(st.integers(0, len(compressed) - 1))
    compressed[place] ^= drawn.draw(st.integers(1, 255))
    expand_or_name(bytes(compressed))
