"""The uplink: the connection to the network, at most once and never late.

The protocol and the queue do no I/O and read no clock; `client.py` owns them all for as long as the gateway runs.

| file | holds |
| --- | --- |
| `client.py` | the uplink as a whole: connections one after the other for ever |
| `connection.py` | one connection to a server, without its socket: what may be written, what is in flight |
| `crossing.py` | which lines go, when, and what becomes of the others: every decision of the uplink about a line |
| `dial.py` | from a server's name to a connected socket |
| `in_flight.py` | what was handed to the kernel and is not yet acknowledged: how many lines, and since when |
| `link.py` | one connection to a server on an `asyncio.Transport`: the I/O of a `Connection` |
| `outbox.py` | what waits to go up, bounded in octets and in age, and what became of every line that was offered |
| `passcode.py` | whether a passcode belongs to a callsign |
| `reading_budget.py` | how much of the processor a server that floods may take: a tenth of a core |
| `session.py` | one connection's protocol, without any I/O: bytes from the server in; bytes to send |
| `state.py` | what an uplink is made from, and what it shows of itself |
| `tcp.py` | what the kernel is told about a connection, and asked of it, so that nothing old is ever delivered |
"""
