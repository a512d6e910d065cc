"""Probes: one try at something outside this program, bounded in time and memory. They find out, and judge nothing.

`stile doctor` and `stile setup` ask the same questions and share these answers.

| file | holds |
| --- | --- |
| `broker.py` | an MQTT broker: lets it us in, publish, read back, retain? |
| `clock.py` | what this computer knows of its clock: is it set by others, has it a chip, which server sets it |
| `disk.py` | a folder: can it be written, how much room is there, what carries it, how worn is that |
| `engine.py` | a club's engine: does it greet as one? |
| `listener.py` | a port of this computer: can it be listened at? |
| `names.py` | names of hosts: do they lead to an address? |
| `network_server.py` | a server of the network: does it greet, and verify the login, beside whatever gateway runs |
| `receiver.py` | a decoder as the station file names it, heard for a while by the gateway's own receiver |
| `speech.py` | an address of which nothing is known: what is spoken there, KISS, text or nothing |
| `time_server.py` | the time, asked of a time server (SNTP) |
"""
