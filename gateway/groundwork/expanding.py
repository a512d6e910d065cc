"""A file that may be compressed with gzip or zstd becomes plain bytes, a bounded piece at a time.

What it is is told from its first octets, never from its name. Several members in a row are one file, as both formats
have it (RFC 1952 section 2.2, RFC 8878 section 3).
"""

import gzip
import io
import sys
import zlib
from collections.abc import Iterator

PIECE_OCTETS = 64 * 1024
"""The most that comes back at once: a file that expands a thousandfold takes time, not memory."""

GZIP_MARK = b"\x1f\x8b"
"""RFC 1952 section 2.3.1."""

ZSTD_MARK = b"\x28\xb5\x2f\xfd"
"""RFC 8878 section 3.1.1, the magic number, little-endian."""

MOST_EXPANSION = 500
"""How many octets may come of one, on the average: captures of what was heard come to 5 to 30."""

UNSUSPICIOUS_OCTETS = 16 * 1024 * 1024
"""So many may always come of a file."""

FEWEST_AT_ONCE = 1024
"""Fewer octets are asked for only where exactly so many must follow, as in a header."""

_LARGEST_WINDOW_LOG = 23
"""Of zstd: 8 MB, what RFC 8878 section 3.1.1.1.2 asks every decoder to support. A larger one could take 2 GB."""


class CompressionError(ValueError):
    """Compressed bytes cannot be expanded, or no further; the message says why."""


class CutOffError(CompressionError):
    """Compressed bytes end before they should."""


class _CountedBytes(io.BufferedIOBase):
    """The bytes of a file as they stand in it, as the library's readers ask for them. It counts what it gives."""

    def __init__(self, file: io.BufferedIOBase) -> None:
        self.octets = 0
        self.start = file.read(len(ZSTD_MARK))
        self._file = file

    def read(self, size: int | None = -1) -> bytes:
        """Octets, `size` at most: of many, those that are there already, as what they expand to need not wait."""
        size = PIECE_OCTETS if size is None or size < 0 else size
        data, self.start = self.start[:size], self.start[size:]
        if not data:
            data = self._file.read1(size) if size >= FEWEST_AT_ONCE else self._file.read(size)
        self.octets += len(data)
        return data

    def read1(self, size: int = -1) -> bytes:
        """The same."""
        return self.read(size)


def expanded(file: io.BufferedIOBase) -> Iterator[bytes]:
    """The plain bytes of `file`: those that are not compressed as they are.

    Raises `CompressionError` after what stands before damage, but for the last piece, and `CutOffError` after all that
    stands before the end; `OSError` where the file cannot be read.
    """
    source = _CountedBytes(file)
    reader, damages, because = _reader(source)
    octets = 0
    try:
        while piece := reader.read1(PIECE_OCTETS):
            octets += len(piece)
            if octets > max(UNSUSPICIOUS_OCTETS, MOST_EXPANSION * source.octets):
                raise CompressionError(f"it expands more than {MOST_EXPANSION} times, which nothing heard does")
            yield piece
    except EOFError:
        raise CutOffError("it is cut off in the middle of its compressed data") from None
    except damages:
        raise CompressionError(because) from None


_Reader = tuple[io.BufferedIOBase, tuple[type[Exception], ...], str]
"""A reader of plain bytes, what it raises where it meets damage, and that in words."""


def _reader(source: _CountedBytes) -> _Reader:
    if source.start.startswith(GZIP_MARK):
        return gzip.GzipFile(fileobj=source), (zlib.error, gzip.BadGzipFile), "its gzip data is damaged"
    if source.start == ZSTD_MARK:
        return _zstd_reader(source)
    return source, (), ""


def _zstd_reader(source: _CountedBytes) -> _Reader:
    try:
        if sys.version_info >= (3, 14):
            from compression import zstd  # noqa: PLC0415 - not every build of Python has it
        else:
            from backports import zstd  # noqa: PLC0415 - it needs the extra `zstd`
    except ImportError:
        raise CompressionError("it is compressed with zstd; install Stile's extra `zstd` to read it") from None
    reader = zstd.ZstdFile(source, options={zstd.DecompressionParameter.window_log_max: _LARGEST_WINDOW_LOG})
    return reader, (zstd.ZstdError,), "its zstd data is damaged, or needs a window of more than 8 MB"
