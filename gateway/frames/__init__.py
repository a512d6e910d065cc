"""Frames: bytes from a decoder become a `Frame`, and a `Frame` becomes bytes again. No I/O, no clock, no policy.

`ax25`, `kiss` and `tnc2` read what decoders send; `third_party` unwraps a frame inside a frame; `network_line`
writes what goes up; `heard` says which receiver heard it, and when.
"""
