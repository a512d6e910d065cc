"""The least that any gateway does: frames out of KISS, a known header looked up, a line for each, written at once.

It judges nothing, counts nothing, bounds nothing and asks after nothing: what stands between its cost and the
gateway's is what the gateway is for. Arguments: the decoder's port and the server's.
"""

import asyncio
import sys

from gateway.frames import ax25, kiss
from gateway.frames.network_line import LINE_END, route

LOGIN = b"user QX1GAT-10 pass -1\r\n"
DATA_FRAME = b"\x00"
UI_MARK = b"\x03\xf0"
ESCAPED_END, ESCAPED_ESCAPE = b"\xdb\xdc", b"\xdb\xdd"
READ_OCTETS = 1 << 16


async def serve(decoder: int, server: int) -> None:
    """Pass on every frame as a line."""
    reader, source = await asyncio.open_connection("127.0.0.1", decoder)
    answers, writer = await asyncio.open_connection("127.0.0.1", server)
    writer.write(LOGIN)
    added, beginnings, rest = route("QX1GAT-10"), dict[bytes, bytes](), b""
    while octets := await reader.read(READ_OCTETS):
        *frames, rest = (rest + octets).split(kiss.FEND)
        lines: list[bytes] = []
        for frame in frames:
            if not frame.startswith(DATA_FRAME):
                continue
            if b"\xdb" in frame:
                frame = frame.replace(ESCAPED_END, kiss.FEND).replace(ESCAPED_ESCAPE, b"\xdb")  # noqa: PLW2901
            field, _, information = frame[1:].partition(UI_MARK)
            beginning = beginnings.get(field)
            if beginning is None:
                beginning = beginnings[field] = ax25.read_header(field).network + added
            lines += (beginning, information, LINE_END)
        writer.write(b"".join(lines))
    source.close()  # kept by name until here: a writer that is let go closes its connection
    del answers


if __name__ == "__main__":
    asyncio.run(serve(int(sys.argv[1]), int(sys.argv[2])))
