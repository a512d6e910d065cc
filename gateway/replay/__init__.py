"""Captures judged again: what a policy would have done with what was heard, and how two policies differ.

A replay decides exactly as the live gateway did: it hands the judge the same frames, in the same order, with the same
times, and starts its memory afresh where the gateway did.

| file | holds |
| --- | --- |
| `advisers.py` | what in a capture a policy could do better |
| `amendment.py` | a policy with some lines of YAML added, as an operator would add them |
| `beginnings.py` | what the judges of a capture's runs remembered when each began: a replay goes on from there |
| `bounded.py` | counting by keys that come from the air, in a memory that is bounded whatever comes |
| `captures.py` | reads captures: each line is told by its content, so that they may be of several kinds, and mixed |
| `comparison.py` | what differs: between two policies, and between a policy now and what was decided live |
| `contender.py` | a policy in a replay: a judge that asks it, with a memory for each run as the gateway had |
| `effect.py` | what advice would do: the capture judged again by the policy with the lines in it |
| `observation.py` | what advice is drawn from: who sends what, how often, how copies come, and whom the rates keep |
| `order.py` | puts the frames of a capture back into the order in which they were heard, and says what is missing |
| `read_ahead.py` | captures read by a process of their own, ahead of the judge: one core reads while another judges |
| `record.py` | what a capture holds: frames heard, each with the verdict that it got |
| `replay.py` | a replay: every frame of a capture judged by one policy or by two, counted and compared |
| `timed_lines.py` | time-stamped lines of TNC-2 text: `TIME LINE`, or `TIME RECEIVER LINE` |
"""
