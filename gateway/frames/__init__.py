"""Frames: bytes from a decoder become a `Frame`, and a `Frame` becomes bytes again. No I/O, no clock, no policy.

| file | holds |
| --- | --- |
| `ax25.py` | AX.25 frames without their check sequence: octets ↔ `Frame` (AX.25 sections 3.1 to 3.12) |
| `capture.py` | the lines of a capture, each numbered, the hostile ones named and passed over |
| `delimited.py` | a stream of bytes cut at a delimiter, with a bound on what is kept between reads |
| `fcs.py` | the frame check sequence of AX.25, the 16-bit one of ISO 3309 and ITU-T V.42 (X.25 FCS) |
| `frame.py` | the one value that every reader makes: a frame, or the damage that stood in its place |
| `header.py` | the header of a frame: who sent it, to what, and through which repeaters it came |
| `heard.py` | what a receiver hands on: a frame, with the receiver and the time |
| `kiss.py` | KISS framing: a stream of bytes from a modem ↔ the frames in it (KISS) |
| `moment.py` | a reading of the clocks |
| `network_line.py` | the line that goes up: the innermost frame |
| `plain.py` | the plain form of what was heard, what JSON can hold: the same on the bus |
| `pulse.py` | whether the gateway turns, and when what it reads after a standstill was heard |
| `third_party.py` | a frame inside a frame |
| `tnc2.py` | TNC-2 monitor text: one frame a line, `SOURCE>DESTINATION,REPEATER*:information` (common practice) |
"""
