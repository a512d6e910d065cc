"""What a watch prints where nothing can be drawn: a line for each thing as it comes. No I/O, no clock."""

from collections.abc import Iterator
from datetime import datetime

from gateway.commands.watching import words
from gateway.commands.watching.columns import shown, width
from gateway.commands.watching.published import Answering, Event, NoAnswer, Notice, Shown
from gateway.commands.watching.watched import WatchedFrame
from gateway.glance.shown import AlertShown, ForwardedShown, HealthShown, HeardShown, MissedShown


class Listing:
    """Says frames and alerts as they come, and of everything else what has changed."""

    def __init__(self) -> None:
        self._states: dict[str, str] = {}
        self._trouble: NoAnswer | None = None

    def take(self, event: Notice, now: datetime) -> Iterator[str]:
        """The lines for it."""
        match event:
            case Answering():
                self._trouble = None
                yield f"{now:%H:%M:%S} the gateway answers"
            case NoAnswer():
                is_news, self._trouble = event != self._trouble, event
                if is_news:
                    yield f"{now:%H:%M:%S} THE GATEWAY DOES NOT ANSWER: {event}"
            case Event():
                yield from self._lines(event.shown, now)

    def _lines(self, event: Shown, now: datetime) -> Iterator[str]:
        match event:
            case ForwardedShown():
                pass  # the frame was said when it was heard
            case HeardShown():
                if event.counts_as_emergency:
                    yield words.emergency_words(event, now)
                    yield words.CAUTION
                yield words.frame_words(WatchedFrame(event), now)
            case AlertShown(kind="emergency"):
                pass  # the frame itself says so
            case AlertShown():
                yield words.alert_words(event, now)
            case HealthShown():
                yield from self._changes(event, now)
            case MissedShown():
                yield "some events are not shown: this watch was away, or could not keep up"

    def _changes(self, health: HealthShown, now: datetime) -> Iterator[str]:
        label_columns = max((width(shown(part.label)) for part in health.parts), default=0)
        before, self._states = self._states, {part.label: part.state for part in health.parts}
        for part in health.parts:
            if before.get(part.label) != part.state:
                why = words.why_and_what_to_do(part)
                yield f"{words.part_words(part, now, label_columns)}{f': {why}' if why else ''}"
