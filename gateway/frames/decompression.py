"""Bytes that may be compressed with gzip or zstd become plain ones, a bounded piece at a time. No I/O.

What they are is told from their first octets, never from a file's name.
"""

import sys
import zlib
from collections.abc import Callable, Iterator
from typing import Protocol

PIECE_OCTETS = 64 * 1024
"""The most that comes back at once: a file that expands a thousandfold takes time, not memory."""

GZIP_MARK = b"\x1f\x8b"
"""RFC 1952 section 2.3.1."""

ZSTD_MARK = b"\x28\xb5\x2f\xfd"
"""RFC 8878 section 3.1.1, the magic number, little-endian."""

_LARGEST_WINDOW_LOG = 23
"""Of zstd: 8 MB, what RFC 8878 section 3.1.1.1.2 asks every decoder to support. A larger one could take 2 GB."""

_GZIP_WINDOW_BITS = 31
"""Of zlib: the largest window, and a gzip header and trailer around the data."""


_PADDING = b"\0"
"""What may stand after a member, as tapes and some file systems leave it; no member begins with it."""


class CompressionError(ValueError):
    """Compressed bytes cannot be expanded, or no further; the message says why."""


class _Member(Protocol):
    """One compressed stream of a file, which may hold several in a row."""

    @property
    def eof(self) -> bool:
        """Whether it came to its end."""

    @property
    def needs_input(self) -> bool:
        """Whether it gives no more before it is fed more."""

    @property
    def unused_data(self) -> bytes:
        """What came after its end."""

    def decompress(self, data: bytes, max_length: int) -> bytes:
        """Up to `max_length` octets of what `data` and all before it hold. Raises `CompressionError`."""


class _GzipMember:
    """One member of a gzip file (RFC 1952 section 2.2)."""

    def __init__(self) -> None:
        self._inflater = zlib.decompressobj(_GZIP_WINDOW_BITS)
        self.needs_input = True

    @property
    def eof(self) -> bool:
        return self._inflater.eof

    @property
    def unused_data(self) -> bytes:
        return self._inflater.unused_data

    def decompress(self, data: bytes, max_length: int) -> bytes:
        try:
            piece = self._inflater.decompress(self._inflater.unconsumed_tail + data, max_length)
        except zlib.error:
            raise CompressionError("its gzip data is damaged") from None
        self.needs_input = not self._inflater.unconsumed_tail and len(piece) < max_length
        return piece


class _ZstdMember:
    """One frame of a zstd file (RFC 8878 section 3.1)."""

    def __init__(self) -> None:
        try:
            if sys.version_info >= (3, 14):
                from compression import zstd  # noqa: PLC0415 - not every build of Python has it
            else:
                from backports import zstd  # noqa: PLC0415 - it needs the extra `zstd`
        except ImportError:
            raise CompressionError("it is compressed with zstd; install Stile's extra `zstd` to read it") from None
        options: dict[int, int] = {zstd.DecompressionParameter.window_log_max: _LARGEST_WINDOW_LOG}
        self._error = zstd.ZstdError
        self._decompressor = zstd.ZstdDecompressor(options=options)

    @property
    def eof(self) -> bool:
        return self._decompressor.eof

    @property
    def needs_input(self) -> bool:
        return self._decompressor.needs_input

    @property
    def unused_data(self) -> bytes:
        return self._decompressor.unused_data

    def decompress(self, data: bytes, max_length: int) -> bytes:
        try:
            return self._decompressor.decompress(data, max_length)
        except self._error:
            raise CompressionError("its zstd data is damaged, or needs a window of more than 8 MB") from None


_MEMBERS: dict[bytes, Callable[[], _Member]] = {GZIP_MARK: _GzipMember, ZSTD_MARK: _ZstdMember}
_LONGEST_MARK = max(map(len, _MEMBERS))


class Decompressor:
    """Takes the bytes of one file as they come, compressed or not, and gives back the plain ones.

    Any split of the bytes gives the same; bytes that are not compressed come back as they are. Of what stands before
    damage, no more than the last piece is lost.
    """

    def __init__(self) -> None:
        self._start = b""
        self._is_known = False
        self._new_member: Callable[[], _Member] | None = None
        self._member: _Member | None = None

    def feed(self, data: bytes) -> Iterator[bytes]:
        """Take `data`; yield the plain bytes that it brings. Raises `CompressionError`."""
        if not self._is_known:
            self._start += data
            if len(self._start) < _LONGEST_MARK:
                return
            data = self._recognise()
        if self._new_member is None:
            for start in range(0, len(data), PIECE_OCTETS):
                yield data[start : start + PIECE_OCTETS]
        else:
            yield from self._expand(data, self._new_member)

    def end(self) -> Iterator[bytes]:
        """The bytes are at their end: yield what is still held back. Raises `CompressionError` where they are cut."""
        if not self._is_known and self._start:
            yield from self._expand_start()
        if self._member is not None:
            raise CompressionError("it is cut off in the middle of its compressed data")

    def _recognise(self) -> bytes:
        self._is_known = True
        self._new_member = next((new for mark, new in _MEMBERS.items() if self._start.startswith(mark)), None)
        start, self._start = self._start, b""
        return start

    def _expand_start(self) -> Iterator[bytes]:
        start = self._recognise()
        return iter([start]) if self._new_member is None else self._expand(start, self._new_member)

    def _expand(self, data: bytes, new_member: Callable[[], _Member]) -> Iterator[bytes]:
        while True:
            if self._member is None:
                data = data.lstrip(_PADDING)
                if not data:
                    return
                self._member = new_member()
            member = self._member
            piece = member.decompress(data, PIECE_OCTETS)
            data = b""
            if piece:
                yield piece
            if member.eof:
                data, self._member = member.unused_data, None
            elif member.needs_input:
                return
