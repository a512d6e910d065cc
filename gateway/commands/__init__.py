"""What the commands do: each reads files or asks a running gateway, and says what came of it.

| file | holds |
| --- | --- |
| `answer.py` | what a command answers, in each of the forms in which it is printed: words, one object, a table |
| `changes.py` | `stile changes`: what changed from version to version, as the package carries it |
| `checking.py` | what `stile check` says of a station file: what is wrong with it |
| `explaining.py` | what `stile explain` tells of one frame: each question asked of it, the answer, what decided |
| `panel/` | `stile panel`: the picture of a running gateway, kept on a framebuffer or in a file |
| `forgetting.py` | what `stile forget` does: takes one station out of all that is kept of it |
| `journal_of.py` | the journal of a station file, asked from a terminal |
| `pasted.py` | a frame as people paste it |
| `progress.py` | a bar on a terminal that says how far a long piece of work has come |
| `reaching.py` | what `stile reach` tells: how far the antenna hears in each sector |
| `replay_listing.py` | the frames of a replay one by one, as rows of CSV or objects of JSON: written as they come |
| `replay_words.py` | a replay in words, for a terminal |
| `replaying.py` | what `stile replay` does: reads captures, judges them by one policy or two |
| `station_warnings.py` | what the author of a station file may not have meant, though the gateway can run so |
| `understood.py` | what a station file says, said back in other words: call, place, whom it listens to |
| `what_if.py` | what another policy would have done of late: a process of its own |
| `who.py` | what `stile who` tells: who was heard, or all that the journal knows of one station |
| `usage.py` | how the commands are asked for: what is said to a wrong one; completion, the manual page |
| `watching/` | `stile watch`: the live state of a running gateway in a terminal |
"""
