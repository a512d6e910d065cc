"""How long 100,000 callsigns of a policy take to read, beside PyYAML's parser alone; how the review of rules grows."""

import gc
import time
from collections.abc import Callable, Iterator
from functools import partial

import yaml

from gateway.judge.conditions import Post
from gateway.judge.review import review
from gateway.judge.source import PolicyText, read_policy
from tests.bench.figures import Effort, Figure, in_turn, microseconds, ratio

CALLSIGNS = 100_000
FEW_RULES, MANY_RULES = 400, 4000
HEAD = "version: 1\nname: bench\n"
POST = Post("QX1GAT-10", 58.6, -3.9167)


def no_includes(name: str, including: str) -> PolicyText:
    """Nothing is included here."""
    raise FileNotFoundError(2, "nothing is included here", f"{including}: {name}")


def listing(callsigns: int) -> str:
    """A policy with one group."""
    members = "".join(f"    - QA{number:05X}-{number % 16}\n" for number in range(callsigns))
    return f"{HEAD}groups:\n  club:\n{members}rules: [{{name: a, when: {{source: '@club'}}, then: keep}}]\n"


def rules(form: str, count: int) -> str:
    """A policy of so many rules, each for other callsigns."""
    callsigns = map(form.format, range(count))
    entries = (f"  - {{name: r{at}, when: {{source: '{each}'}}, then: keep}}\n" for at, each in enumerate(callsigns))
    return f"{HEAD}rules:\n{''.join(entries)}"


def seconds_of(call: Callable[[], object]) -> float:
    """Of the processor, with nothing left to collect before it and nothing collected in it.

    Python's collector looks through all that there is, again and again: the document that was read, most of all.
    """
    gc.collect()
    gc.disable()
    began = time.thread_time()
    call()
    taken = time.thread_time() - began
    gc.enable()
    return taken


def read_and_make_ready(text: str) -> None:
    """As at the start and at a reload."""
    read_policy(PolicyText("bench.yaml", text), no_includes).compiled(POST)


def parse_alone(text: str) -> None:
    """The same parser, and nothing made of what it says."""
    for _ in yaml.parse(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader)):
        pass


def reviewed(form: str, count: int) -> float:
    """Seconds for each of so many rules."""
    source = read_policy(PolicyText("bench.yaml", rules(form, count)), no_includes)
    source.compiled(POST)
    return seconds_of(partial(review, source, POST)) / count


def measure(effort: Effort) -> Iterator[Figure]:
    """The list first, then what grows."""
    text = listing(effort.of(CALLSIGNS))
    sides = {"read": partial(read_and_make_ready, text), "parser": partial(parse_alone, text)}
    seconds = in_turn(effort.turns, {name: partial(seconds_of, call) for name, call in sides.items()})
    yield ratio("callsigns", seconds["read"], seconds["parser"], "{:.3f} s".format, "the parser alone")
    for name, form in {"one callsign": "QA{}", "one wildcard": "Q*{}", "one beginning": "QA{:05}*"}.items():
        each = in_turn(effort.turns, {str(count): partial(reviewed, form, count) for count in (FEW_RULES, MANY_RULES)})
        few, many = each[str(FEW_RULES)], each[str(MANY_RULES)]
        yield ratio(f"review, {name}", many, few, lambda time_taken: f"{microseconds(time_taken)} a rule", "400 rules")
