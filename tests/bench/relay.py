"""The baseline: a bare asyncio relay, `readuntil` and `write`, from a decoder's port to a server's.

Arguments: the two ports, and the mark at which each piece ends, in hex.
"""

import asyncio
import sys
from contextlib import suppress


async def relay(decoder: int, server: int, mark: bytes) -> None:
    """Pass on every piece."""
    reader, source = await asyncio.open_connection("127.0.0.1", decoder)
    _, writer = await asyncio.open_connection("127.0.0.1", server)
    with suppress(asyncio.IncompleteReadError):
        while True:
            writer.write(await reader.readuntil(mark))
    source.close()  # kept by name until here: a writer that is let go closes its connection


if __name__ == "__main__":
    asyncio.run(relay(int(sys.argv[1]), int(sys.argv[2]), bytes.fromhex(sys.argv[3])))
