"""The judge: which frames should go up, by the network's rules and the operator's policy. No I/O, no clock.

Its verdict depends on the stream of `Heard` so far and on the policy, on nothing else, so that a replay of a capture
decides exactly as the live gateway did.
"""
