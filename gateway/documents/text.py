"""The text of a file, bounded before it is in memory."""

import errno
import os
import stat
from pathlib import Path

MAXIMUM_TEXT = 4 * 1024 * 1024
"""Octets of one file; a list of 100,000 callsigns takes about 1.5 million."""

_SIXTEEN_BITS = (b"\xff\xfe", b"\xfe\xff")
"""How a text of UTF-16 begins."""


def read_text(path: Path, longest: int = MAXIMUM_TEXT) -> str:
    """The text of a file of no more than `longest` octets. Raises `OSError`, whose `strerror` says why it cannot.

    Only a regular file is read: a pipe in its place would keep the reader waiting for ever.
    """
    octets = b""
    try:
        with open(path, "rb", opener=_open_at_once) as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise OSError(errno.EINVAL, "it is no regular file")
            octets = file.read(longest + 1)
        if len(octets) > longest:
            raise OSError(errno.EFBIG, f"it is longer than {longest} octets")
        return octets.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if octets.startswith(_SIXTEEN_BITS):
            raise OSError(errno.EILSEQ, "it is UTF-16: save it as UTF-8") from None
        line = octets.count(b"\n", 0, error.start) + 1
        raise OSError(errno.EILSEQ, f"it is no UTF-8 text, see its line {line}: save it as UTF-8") from None
    except ValueError:
        raise OSError(errno.EINVAL, "no file can have such a name") from None


def _open_at_once(path: str, flags: int) -> int:
    return os.open(path, flags | os.O_NONBLOCK)  # a pipe without a writer keeps nobody waiting
