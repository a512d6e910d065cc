"""What the gateway knows of the past, for its web: the journal is asked in a thread of its own, a few at a time."""

import re
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path
from typing import TypeVar

from gateway.documents.values import NAME
from gateway.feed.heard_object import HeardPayload, judged_from
from gateway.feed.reader import ReportReader
from gateway.frames.capture import read_object
from gateway.frames.plain import PlainFormError, PlainObject
from gateway.groundwork.own_thread import FewThreads
from gateway.history.period import Period
from gateway.history.station_past import MOST_FRAMES, PastFrame, heard_in, station_past, together
from gateway.journal.asking import HistoryStep, Inquiry
from gateway.journal.trouble import JournalError
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.explanation import explain
from gateway.judge.judge import Judge
from gateway.judge.verdict import Judged

AT_A_TIME = 2
"""So many look into the journal at once; the others wait."""

FRAMES_BEFORE = 1000
"""A frame is explained with what was heard before it in mind: so many frames."""

FRAMES_BETWEEN_RESTS = 20
"""Then the interpreter's lock is let go: a frame on its way up waits for no reader."""

NO_JOURNAL = "nothing is kept here: write `journal: {path: stile.db}` into the station file"

_T = TypeVar("_T")


class PastError(Exception):
    """The past cannot be told; the message says why, and what to do."""

    def __init__(self, why: str, status: HTTPStatus = HTTPStatus.SERVICE_UNAVAILABLE) -> None:
        """`status`: with which it is answered."""
        super().__init__(why)
        self.status = status


@dataclass(frozen=True, slots=True)
class HeardPage:
    """Some frames, the newest first."""

    heard: Sequence[PastFrame]
    has_more: bool


class Knowledge:
    """Answers for the web. Every question may raise `PastError`."""

    def __init__(self, journal: Path | None, reader: ReportReader, policy: Callable[[], CompiledPolicy]) -> None:
        """`journal`: its file; None where there is none. `policy`: the one in force."""
        self._journal = journal
        self._reader = reader
        self._policy = policy
        self._threads = FewThreads(AT_A_TIME)

    async def reach(self, period: Period, against: Period | None, post: str) -> PlainObject:
        """The reach of the antenna; at a hub of a club of one `post`, or where that is empty of all."""
        if post and not re.fullmatch(NAME, post):
            raise PastError("post: a post's name belongs there, as headland", HTTPStatus.BAD_REQUEST)

        def look(asking: Inquiry) -> PlainObject:
            return asking.reach(period, post) if against is None else asking.reach_against(period, against, post)

        return await self._ask(look)

    async def history(self, period: Period, *, by_day: bool) -> PlainObject:
        """What was heard when."""
        return await self._ask(lambda asking: asking.history(period, HistoryStep.DAY if by_day else HistoryStep.HOUR))

    async def station(self, callsign: str, period: Period, recent: Sequence[PastFrame]) -> PlainObject:
        """A station's past; `recent` are its frames of late, the newest first."""

        def look() -> PlainObject:
            journal_frames: list[PastFrame] = []
            days: list[PlainObject] = []
            if self._journal is not None:
                with Inquiry(self._journal) as asking:
                    journal_frames = asking.heard(callsign, MOST_FRAMES, since_ms=period.from_ms)
                    days = asking.days_of_station(callsign, period)
            heard = heard_in(period, together(recent, journal_frames)[:MOST_FRAMES])
            return {**period.to_object(), "days": days, **station_past(heard)}

        return await self._in_thread(look)

    async def heard(
        self, source: str, limit: int, before: tuple[str, int] | None, recent: Sequence[PastFrame]
    ) -> HeardPage:
        """Frames of a station, the newest first."""

        def look() -> HeardPage:
            places = [place for place, frame in enumerate(recent) if (frame.run, frame.sequence) == before]
            later = recent if before is None else recent[places[0] + 1 :] if places else ()
            journal_frames: list[PastFrame] = []
            is_known = before is None or bool(places)
            if self._journal is not None:
                with Inquiry(self._journal) as asking:
                    number = None if before is None else asking.number_of(*before)
                    is_known |= number is not None
                    if is_known:
                        journal_frames = asking.heard(source, limit + 1, before=number)
            if not is_known:
                raise PastError("before: that frame is not kept", HTTPStatus.NOT_FOUND)
            frames = [frame for frame in together(later, journal_frames) if frame.to_object() is not None]
            return HeardPage(frames[:limit], has_more=len(frames) > limit)

        return await self._in_thread(look)

    async def frames_up_to(self, run: str, sequence: int) -> list[HeardPayload]:
        """A frame of the journal and those heard before it, it being the last one; none where it is not kept."""

        def look(asking: Inquiry) -> list[HeardPayload]:
            frames = asking.up_to(run, sequence, FRAMES_BEFORE)
            payloads = [payload for frame in reversed(frames) if (payload := self._payload(frame)) is not None]
            is_there = payloads and payloads[-1].judged.heard.sequence == sequence
            return payloads if is_there else []

        return [] if self._journal is None else await self._ask(look)

    async def explain(self, frames: Sequence[Judged]) -> PlainObject:
        """The steps to the verdict on the last of these frames, by the policy in force, those before it in mind."""
        policy = self._policy()
        last = frames[-1]

        def look() -> PlainObject:
            judge = Judge(policy)
            for number, judged in enumerate(frames[-FRAMES_BEFORE:-1]):
                judge.judge(judged.heard)
                if number % FRAMES_BETWEEN_RESTS == 0:
                    time.sleep(0)
            explanation = explain(judge, last.heard)
            steps = [step.to_object() for step in explanation.steps]
            return {"steps": steps, "as_recorded": explanation.judged.verdict == last.verdict}

        return await self._in_thread(look)

    async def _ask(self, look: Callable[[Inquiry], _T]) -> _T:
        journal = self._journal
        if journal is None:
            raise PastError(NO_JOURNAL)

        def ask() -> _T:
            with Inquiry(journal) as asking:
                return look(asking)

        return await self._in_thread(ask)

    async def _in_thread(self, look: Callable[[], _T]) -> _T:
        try:
            return await self._threads.call(look)
        except JournalError as error:
            raise PastError(str(error)) from None
        except OSError as error:
            raise PastError(error.strerror or "the journal cannot be read") from None

    def _payload(self, frame: PastFrame) -> HeardPayload | None:
        try:
            judged = judged_from(read_object(frame.encoded))
        except PlainFormError:
            return None
        return HeardPayload(judged, self._reader, encoded=frame.encoded)
