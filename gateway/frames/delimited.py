"""A stream of bytes cut at a delimiter, with a bound on what is kept between reads."""


class DelimitedStream:
    """Gives back what stands between delimiters; any split and any coalescing of the bytes gives the same.

    A piece longer than `limit` octets comes back once, cut to `limit` + 1, so that the caller can tell; the rest of
    it is passed over. No more than `limit` octets are kept between calls.
    """

    def __init__(self, delimiter: bytes, limit: int, *, starts_delimited: bool, keeps_empty: bool = False) -> None:
        """`starts_delimited`: whether the first piece begins at the first byte, or after the first delimiter.

        `keeps_empty`: whether empty pieces come back, so that they can be counted, or are left out.
        """
        self._delimiter = delimiter
        self._limit = limit
        self._unfinished = b""
        self._passing_over = not starts_delimited
        self._keeps_empty = keeps_empty

    def feed(self, data: bytes) -> list[bytes]:
        """Take `data`; return the pieces that are now complete, or known to be too long."""
        pieces = (self._unfinished + data).split(self._delimiter) if self._unfinished else data.split(self._delimiter)
        if self._passing_over:
            if len(pieces) == 1:
                return []
            del pieces[0]
            self._passing_over = False
        if len(pieces[-1]) > self._limit:
            self._passing_over = True
            self._unfinished = b""
        else:
            self._unfinished = pieces.pop()
        over = self._limit + 1
        return [piece[:over] for piece in pieces if piece or self._keeps_empty]
