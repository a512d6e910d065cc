"""A club of posts on one engine (NATS JetStream): posts hand on what they hear, hubs judge it, one of them sends.

No I/O and no clock: `subjects` (the names of everything in the engine), `message` (a heard frame on its way to the
hubs), `stream_clock` (what the engine's clock says, and how surely), `hand_over` (what waits at a post), `order` (the
stream's order and its elapsed time), `lease` (who sends), `dispatch` (what the hub that sends may still send).
"""
