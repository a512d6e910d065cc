"""Alerts: what the operator wants to be told of at once. No I/O, no clock.

| file | holds |
| --- | --- |
| `alert.py` | alerts: what the operator wants to be told of at once, as plain objects |
| `area.py` | areas on the map: whether a place lies in a circle or in a polygon |
| `conditions.py` | an entry of `alerts:` that asks about frames, made ready to be asked |
| `entry.py` | the `alerts:` section of the station file as models: what the operator wants to be told of at once |
| `episodes.py` | the things that raised alerts: when each began, was told last, held last and ended |
| `raised.py` | the alerts that were raised lately, whether they still hold or are over |
| `silences.py` | those that should be heard: when each was heard last, and what was told of its silence |
| `watch.py` | watches what is heard, and the silence, for what the operator wants to be told of |
"""
