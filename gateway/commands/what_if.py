"""What another policy would have done of late: a process of its own, which reads its task and prints what came of it.

The web starts it, with a policy that somebody pasted in: what that costs it costs this process, which is gone soon. It
writes no file, and of files it reads the journal alone: what the pasted policy may include comes with the task.
"""

import json
import os
import resource
import sys
from collections import deque
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from gateway.commands import replay_words
from gateway.documents import DocumentError
from gateway.frames.capture import BEGAN_WITH, BadLine, read_object
from gateway.frames.plain import PlainFormError, PlainObject
from gateway.journal.reading import read_heard
from gateway.journal.trouble import JournalError
from gateway.judge.conditions import Post
from gateway.judge.examples import check_examples
from gateway.judge.source import PolicySource, PolicyText, read_policy
from gateway.replay.contender import Contender
from gateway.replay.record import Reading, Record, because_no_heard_object, record_of
from gateway.replay.replay import Replay
from gateway.settings import policy_files

TOP = 50
"""Groups of frames that differ are told, the greatest."""

PASTED = "the policy to try"
IN_FORCE = "the policy in force"

NICENESS = 5
"""A third of the processor where the gateway wants it too: frames on their way up go first."""

MOST_SECONDS = 30
MOST_OCTETS = 768 * 1024 * 1024
"""Of memory: the largest policy takes about half of it."""


def main() -> int:
    """Read the task from standard input, print an object. Whoever started it sees to the time."""
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    resource.setrlimit(resource.RLIMIT_AS, (MOST_OCTETS, MOST_OCTETS))
    os.nice(NICENESS)
    json.dump(answer_to(json.load(sys.stdin)), sys.stdout)
    return 0


def answer_to(task: Mapping[str, Any]) -> PlainObject:
    """What `what_if` tells; or `problems` with the policy, or the `trouble` there was."""
    try:
        return what_if(task)
    except DocumentError as error:
        # Without the folders of this computer.
        return {"problems": [{**one.to_object(), "file": Path(one.file).name} for one in error.problems]}
    except JournalError as error:
        return {"trouble": str(error)}
    except MemoryError:
        return {"trouble": "it takes more memory than there is for it"}


def what_if(task: Mapping[str, Any]) -> PlainObject:
    """What `policy`, a text, would have forwarded since `since_ms`, beside the policy in force.

    The task names the texts of that one, the post and the journal. Raises `DocumentError` and `JournalError`.
    """
    texts = [PolicyText(file, text) for file, text in task["texts"]]
    post = Post(**task["post"])
    in_force = _read(texts[0], texts)
    pasted = _read(PolicyText(texts[0].file, task["policy"]), texts)
    check_examples(pasted, post)
    reading = Reading()
    records = _records(Path(task["journal"]), task["since_ms"], reading)
    replay = Replay(records, Contender(IN_FORCE, in_force.compiled(post)), Contender(PASTED, pasted.compiled(post)))
    deque(replay, maxlen=0)
    return {"words": replay_words.summary(replay, reading, TOP), **replay.to_object(TOP)}


def _read(first: PolicyText, texts: list[PolicyText]) -> PolicySource:
    """The policy that begins with this text; it can include what the one in force includes."""
    included = {text.file: text for text in texts[1:]}

    def fetch(name: str, including: str) -> PolicyText:
        path = os.path.normpath(policy_files.locate(name, Path(including).parent))
        if path not in included:
            raise FileNotFoundError(0, "the policy in force includes no such file, and here no other can be")
        return included[path]

    return read_policy(first, fetch)


def _records(journal: Path, since_ms: int, reading: Reading) -> Iterator[Record]:
    for line in read_heard(journal, since_ms=since_ms):
        reading.lines += 1
        if isinstance(line, BadLine):
            reading.note_damage("journal", line.number, line.because)
            continue
        try:
            plain = read_object(line.octets)
            if BEGAN_WITH not in plain:  # what the judge knew when a run began is long over within it
                yield record_of(plain)
        except PlainFormError as error:
            reading.note_damage("journal", line.number, because_no_heard_object(error))


if __name__ == "__main__":
    sys.exit(main())
