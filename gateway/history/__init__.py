"""What the past of a post tells: periods, the reach of the antenna in sectors, two periods compared. No I/O, no clock.

The journal keeps and reads it; here is what its numbers mean.

| file | holds |
| --- | --- |
| `antenna.py` | the reach of the antenna: how far it heard in each of 36 sectors, from whom and when |
| `distances.py` | what counts for the reach, in which sector it lies, and the classes of distance kept for long |
| `period.py` | stretches of time, as people write them |
| `rank_sum.py` | whether the values of one period tend to be larger than those of another: the rank-sum test |
| `station_past.py` | a station's own past: its track, its weather and telemetry over time |
| `two_periods.py` | the reach of two periods compared, by their days, with the result in words |
"""
