"""The journal: what this post heard and decided, kept on disk: an SQLite file, and captures. Nobody waits for it.

| file | holds |
| --- | --- |
| `ageing.py` | what is old enough to be deleted, by a clock that may be wrong |
| `asking.py` | what people ask of a journal: the reach of the antenna, what was heard when, a station's past |
| `batch.py` | what is written at one go, and what waits for it: a bounded queue that sheds the oldest |
| `capture.py` | captures: heard objects, one a line |
| `forgetting.py` | takes one station's history out of what is kept on disk |
| `journal.py` | the journal: everything heard, in an SQLite file |
| `keeper.py` | keeps the memories that outlive a restart: which of them are due to be dumped, and their dumps |
| `options.py` | what the journal and the captures are told: where they lie, how much they keep |
| `pending.py` | what is not settled in the journal yet, in a small file beside it |
| `reading.py` | reading what was kept: the journal's heard objects in their order, and the lines of captures |
| `recollection.py` | what a journal knows of the time before this run: memories as they were dumped |
| `recorder.py` | what everything kept on disk has in common: a bounded queue, batches, a thread of its own |
| `rows.py` | the statements that write the journal |
| `runs.py` | starts of the gateway, and how long ago the time of each was |
| `schema.py` | the shape of the journal's file: numbered migrations, carried in the package |
| `standing.py` | whether a journal's files stand in their place still, and nobody wrote over them |
| `store.py` | the journal's file: an SQLite database in WAL mode, written by one thread |
| `sums.py` | the small sums that stay when frames go: by the hour, and by the day |
| `trouble.py` | what went wrong with the disk, in words for the operator: why, and what to do |
| `worker.py` | a thread for what may have to wait for a disk: calls are made there one after the other |
"""
