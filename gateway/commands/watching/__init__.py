"""`stile watch`: the live state of a running gateway in a terminal, from what the gateway's own web tells.

| file | holds |
| --- | --- |
| `client.py` | asks a gateway's own web how it fares, and follows its events; where it does not answer |
| `columns.py` | text for a terminal's columns: nothing in it can move the cursor, and its width is known |
| `event_reader.py` | server-sent events: octets in, events out (HTML standard, section "Server-sent events") |
| `face.py` | what of a gateway stands on the screen, and the keys that change it |
| `following.py` | follows a gateway for as long as a block lasts, its silence too |
| `keyboard.py` | the keys of a watch, read as they are pressed |
| `listing.py` | what a watch prints where nothing can be drawn: a line for each thing as it comes |
| `published.py` | what the gateway's web tells, as far as a watch shows it |
| `screen.py` | the screen of a watch: what is known of a gateway in, the lines of a terminal out |
| `signals.py` | work that goes on until a signal ends it, in an orderly way |
| `terminal.py` | a terminal that is drawn on: a screen of its own while it lasts |
| `watch.py` | `stile watch`: joins the client to what is printed or drawn, in one of its ways |
| `watched.py` | all that a watch knows of a gateway, from what it was told so far; every memory is bounded |
| `words.py` | how frames, stations, alerts, parts and the counts are said, each in a line |
"""
