"""What `stile replay` does: reads captures, judges them by one policy or two, and prints what came of it."""

import json
import sys
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from gateway import settings
from gateway.commands import replay_words
from gateway.commands.explaining import NO_STATION
from gateway.commands.progress import shown
from gateway.commands.replay_listing import CsvListing, listed, write_array
from gateway.commands.usage import AskedWronglyError
from gateway.feed.reader import ReportReader
from gateway.judge.conditions import Post
from gateway.judge.policy import asks_distance
from gateway.judge.source import PolicySource
from gateway.replay import read_ahead
from gateway.replay.advisers import advice
from gateway.replay.captures import STANDARD_INPUT
from gateway.replay.contender import Contender
from gateway.replay.effect import Effect, try_out
from gateway.replay.observation import Observations
from gateway.replay.replay import Replay, Replayed
from gateway.settings import DocumentError, Problem, policy_files

TOP = 20
"""How many groups of frames that differ are told, where it is not said."""


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked for. Raises `AskedWronglyError` where it cannot be done."""

    captures: tuple[Path, ...]
    policy: str
    against: str | None = None
    station: Path | None = None
    advise: bool = False
    csv: Path | None = None
    as_json: bool = False
    top: int = TOP

    def __post_init__(self) -> None:
        if STANDARD_INPUT in self.captures and self.advise:
            what = "--advise reads what was heard twice, and standard input can be read once: name a file"
            raise AskedWronglyError(what)
        if self.captures.count(STANDARD_INPUT) > 1:
            raise AskedWronglyError("standard input can be read once")


class Replaying:
    """One replay, from its request."""

    def __init__(self, request: Request, terminal: TextIO | None = None) -> None:
        """`terminal` shows the progress, the standard error stream where none is given. Raises `DocumentError`."""
        self._request = request
        self._terminal = terminal or sys.stderr
        self._post = settings.load_text(request.station).settings.post if request.station else NO_STATION
        self._source = policy_files.load(request.policy, self._post, beside=Path())
        against = None if request.against is None else policy_files.load(request.against, self._post, beside=Path())
        self._sources = [source for source in (self._source, against) if source is not None]
        self._captures = read_ahead.opened(request.captures)
        beginnings = self._captures.beginnings
        self._replay = Replay(
            self._captures,
            Contender(request.policy, self._source.compiled(self._post), beginnings),
            None if against is None else Contender(str(request.against), against.compiled(self._post), beginnings),
        )
        self._observations = Observations(ReportReader(Post(self._post.callsign))) if request.advise else None

    def run(self, out: TextIO) -> bool:
        """Replay and print; whether all was well. Raises `DocumentError` where the CSV file cannot be written."""
        with self._csv() as csv:
            if self._request.as_json:
                self._print_object(out, csv)
            else:
                self._print_words(out, csv)
        replay = self._replay
        otherwise = any(agreement.otherwise for agreement in replay.agreement.values())
        return bool(replay.span.heard) and not self._captures.reading.unreadable and not otherwise

    def _print_words(self, out: TextIO, csv: CsvListing | None) -> None:
        deque(self._frames(csv), maxlen=0)
        print(replay_words.summary(self._replay, self._captures.reading, self._request.top), file=out)
        for note in self._notes():
            print(f"\n{note}", file=out)
        effects = self._effects()
        if effects is not None:
            print(f"\n{replay_words.advice(effects)}", file=out)

    def _print_object(self, out: TextIO, csv: CsvListing | None) -> None:
        """One object; the frames that differ come first in it, written as they are found."""
        replay = self._replay
        frames = self._frames(csv)
        out.write("{")
        if replay.against is None:
            deque(frames, maxlen=0)
        else:
            out.write('"differing": ')
            write_array(out, (json.dumps(listed(replayed)) for replayed in frames if replayed.differs))
            out.write(",\n")
        summary = {
            "captures": [str(path) for path in self._request.captures],
            "reading": self._captures.reading.to_object(),
            "notes": self._notes(),
            **replay.to_object(self._request.top),
        }
        effects = self._effects()
        if effects is not None:
            summary["advice"] = [effect.to_object() for effect in effects]
        out.write(json.dumps(summary, indent=2)[1:])
        out.write("\n")

    def _frames(self, csv: CsvListing | None) -> Iterator[Replayed]:
        """Every frame, noted wherever it has to be."""
        replay, observations, path = self._replay, self._observations, self._request.csv
        for replayed in shown(replay, self._terminal, self._captures.part_read, "replaying"):
            if observations is not None:
                observations.add(replayed.judged, replay.policy.octets_of(replayed.judged))
            if csv is not None and path is not None and (replayed.differs or replay.against is None):
                with _writing(path):
                    csv.add(replayed)
            yield replayed

    def _notes(self) -> list[str]:
        """What the operator should know of how it was judged."""
        if self._post.origin is not None or not any(map(_asks_distance, self._sources)):
            return []
        return ["a policy asks for a distance, but no station with a position was given (--station): it never holds"]

    def _effects(self) -> list[Effect] | None:
        if self._observations is None:
            return None
        captures = read_ahead.opened(self._request.captures)
        records = shown(captures, self._terminal, captures.part_read, "trying the advice")
        pieces = advice(self._observations, self._source)
        return try_out(records, self._source, self._post, pieces, captures.beginnings)

    @contextmanager
    def _csv(self) -> Iterator[CsvListing | None]:
        path = self._request.csv
        if path is None:
            yield None
            return
        with _writing(path):
            file = path.open("w", encoding="utf-8", newline="")
        try:
            yield CsvListing(file, two_policies=self._request.against is not None)
        finally:
            with _writing(path):
                file.close()


@contextmanager
def _writing(path: Path) -> Iterator[None]:
    """Raises `DocumentError` where the file cannot be written."""
    try:
        yield
    except OSError as error:
        raise DocumentError([Problem(str(path), 1, "", f"cannot be written: {error.strerror}")]) from None


def _asks_distance(source: PolicySource) -> bool:
    policy = source.policy
    return any(map(asks_distance, [*(rule.when for rule in policy.rules), *(rate.when for rate in policy.rates)]))
