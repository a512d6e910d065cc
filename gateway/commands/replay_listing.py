"""The frames of a replay one by one, as rows of CSV or objects of JSON: written as they come, none is held."""

import csv
from collections.abc import Iterable
from typing import TextIO

from gateway.commands.answer import cells
from gateway.frames import tnc2
from gateway.frames.plain import PlainObject, rfc3339
from gateway.judge.verdict import Judged, Verdict
from gateway.replay.replay import Replayed

_FRAME_COLUMNS = ("run", "sequence", "time", "receiver", "port", "source", "destination", "line")
_VERDICT_COLUMNS = ("verdict", "reason", "rule")


class CsvListing:
    """A row for each frame (RFC 4180)."""

    def __init__(self, file: TextIO, *, two_policies: bool) -> None:
        self._writer = csv.writer(file, lineterminator="\r\n")
        against = (f"against_{column}" for column in _VERDICT_COLUMNS) if two_policies else ()
        self._writer.writerow((*_FRAME_COLUMNS, *_VERDICT_COLUMNS, *against))

    def add(self, replayed: Replayed) -> None:
        """Write the row of one frame."""
        frame = _frame_object(replayed.judged)
        row = [frame.get(column, "") for column in _FRAME_COLUMNS]
        for judged in (replayed.judged, replayed.against):
            if judged is not None:
                row += _verdict_object(judged.verdict).values()
        self._writer.writerow(cells(row))


def listed(replayed: Replayed) -> PlainObject:
    """The plain object of one frame."""
    verdicts: PlainObject = {"policy": _verdict_object(replayed.judged.verdict)}
    if replayed.against is not None:
        verdicts["against"] = _verdict_object(replayed.against.verdict)
    return {**_frame_object(replayed.judged), **verdicts}


def _frame_object(judged: Judged) -> PlainObject:
    heard = judged.heard
    plain: PlainObject = {
        "run": heard.run,
        "sequence": heard.sequence,
        "time": rfc3339(heard.moment.time_ms),
        "receiver": heard.receiver,
        "port": heard.port,
    }
    if judged.innermost is not None:
        plain["source"] = judged.innermost.source
        plain["destination"] = judged.innermost.destination
        plain["line"] = tnc2.write(judged.innermost).decode("utf-8", "replace")
    return plain


def _verdict_object(verdict: Verdict) -> PlainObject:
    return {"verdict": verdict.decision.value, "reason": verdict.reason, "rule": verdict.rule}


def write_array(file: TextIO, items: Iterable[str]) -> None:
    """A JSON array of items that are JSON, one a line, written as they come."""
    file.write("[")
    separator = "\n"
    for item in items:
        file.write(f"{separator}{item}")
        separator = ",\n"
    file.write("]")
