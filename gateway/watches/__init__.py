"""What is watched of one post: its clock, how its receivers hear, how far and how busily. No I/O; time is passed in.

Asking changes nothing. What time changes is changed by a tick, every few seconds.

| file | holds |
| --- | --- |
| `activity.py` | how busy the post is: what was heard in the last minute, from how many in the last hour |
| `clock.py` | the computer's clock as a part of the post: whether the time it shows can be right |
| `day.py` | what became of the frames of this day, of UTC: counted on over a restart |
| `emergencies.py` | how many emergencies were heard, and what those that went up took past the policy's rates |
| `quiet.py` | whether a receiver hears less than this post is used to |
| `reach.py` | how far the antenna reaches: what it heard lately without any help, and how far away the farthest was |
| `watches.py` | everything that is watched of one post: its alerts and emergencies, its clock |
"""
