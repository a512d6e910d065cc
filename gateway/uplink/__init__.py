"""The uplink: the connection to the network, at most once and never late.

`session` knows the protocol, `outbox` what waits to go and what became of it, `in_flight` what the network has not
yet acknowledged: none of them does I/O or reads a clock. `dial` and `tcp` talk to
the kernel, `link` is one connection, and `client` owns them all for as long as the gateway runs.
"""
