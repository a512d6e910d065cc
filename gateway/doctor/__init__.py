"""`stile doctor`: everything outside the station file that a helper would ask, and what to do about each answer.

First all is found out, at the same time (`examination.py`, by the probes); then a table of checks, in the order of a
frame's way, judges what was found. The judgement is pure: the same evidence gives the same findings.

| file | holds |
| --- | --- |
| `by_computer.py` | judges versions, folders and disk, the running gateway, ports, clock |
| `by_files.py` | judges the station file and its policy, as `stile check` finds them |
| `by_house.py` | judges the broker and the engine of a club |
| `by_network.py` | judges names, servers, and whether another gateway has the login |
| `by_receivers.py` | judges what each receiver heard, and whether the place fits it |
| `checks.py` | the table of checks |
| `doctor.py` | a station file in, the whole diagnosis out |
| `evidence.py` | all that was found |
| `examination.py` | finds it out: everything at the same time, and within a bounded time |
| `finding.py` | one answer: `ok`, `look` or `wrong`, what was found, what to do |
| `kept_frames.py` | what the journal tells of the last frames: when, by which receiver, from where |
| `report.py` | the diagnosis as one text that is safe to paste: no secrets, and no place nearer than a field |
"""
