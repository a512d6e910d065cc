"""What every room stands on: small mechanisms and values, each in one file. Imports nothing of ours.

| file | holds |
| --- | --- |
| `back_off.py` | how long to stay away from what failed before it is tried again |
| `bounded.py` | memories that stay small whatever comes from the air: what is oldest makes room |
| `certificates.py` | the certificate and key that TLS needs, and why they cannot be used |
| `clocks.py` | the computer's clocks: the one that runs on over a restart of the gateway |
| `duration.py` | lengths of time in the operator's words |
| `expanding.py` | a file that may be compressed with gzip or zstd becomes plain bytes, a bounded piece at a time |
| `extras.py` | how an extra of the package is added to what is installed |
| `giving_way.py` | how work for the house gives way to frames on their way up: in short slices |
| `hosts.py` | from the name of a host to its addresses, and to a connected socket, without holding up a stop |
| `kept_tasks.py` | tasks that live as long as what they belong to: one that ends before that is a fault |
| `listening.py` | a place where others may connect, kept open: one that is taken is tried again and again |
| `log.py` | the log: a line an event, readable as text or one JSON object, the time first |
| `log_writer.py` | writes the lines of the log from a thread of its own |
| `loopback.py` | whether a host's name or address surely means this computer |
| `open_files.py` | how many connections of others leave the gateway room for its own files and sockets |
| `own_thread.py` | a call that may block for long, in a thread that nobody waits for |
| `part.py` | what every part of the gateway answers when it is asked how it is: its state, why, what to do |
| `printable.py` | text from strangers, made fit for a terminal, a log, a table |
| `private_files.py` | files and folders that hold what was heard: for the gateway's own user alone |
| `remembered.py` | what outlives a restart: one protocol for everything that must be known again |
| `silence.py` | no log for a while, for a command that tries parts of the gateway |
| `waiting.py` | waiting for an event, but not for ever |
"""
