"""Receivers: one file per kind of source; each turns what a decoder sends into `Heard`.

`address` reads where to listen, `kinds` makes the receiver for it. `stream` hears what `tcp`, `unix` and `serial`
connect to, `udp` hears datagrams, `file` plays a capture. `reconnect` tries again for ever; `receiver` is what all have
in common.
"""
