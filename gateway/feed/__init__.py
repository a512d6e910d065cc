"""The feed: what the house sees, as plain values. No I/O.

One frame is one `HeardPayload` from the judge to every sink: what is made of it is made once. A `Sink` takes them.

| file | holds |
| --- | --- |
| `health.py` | the health of the post as one plain object: which part is alive, since when, why not and what to do |
| `heard_object.py` | the heard object: one judged frame as the house sees it, the same on the bus |
| `last_day.py` | how many frames came in each hour of a day |
| `latest.py` | what a station last said of itself, kind by kind: where it is, its weather, its telemetry |
| `reader.py` | the report of a judged frame as a plain object, with what only this post knows of it: how far |
| `schemas.py` | the JSON Schemas (draft 2020-12) of what is published, carried in the package beside this file |
| `sink.py` | a sink: who is told of everything that the house should see, and never makes anyone wait |
| `stations.py` | station memory: what was last heard of every station, within bounds |
| `telemetry.py` | telemetry memory: what each station says that its values mean, and the values scaled by it |
"""
