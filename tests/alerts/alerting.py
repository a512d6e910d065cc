"""Short ways for tests to write `alerts:` as an operator does, and to hear frames while they are watched."""

from typing import Any

from pydantic import BaseModel, ConfigDict

from gateway.alerts.entry import Alert
from gateway.alerts.watch import AlertWatch
from gateway.documents import check, parse
from gateway.feed.heard_object import encode
from gateway.feed.reader import ReportReader
from gateway.feed.schemas import Schema
from gateway.judge import conditions
from gateway.judge.verdict import Judged, Reason
from tests.judged_frames import Post
from tests.payload_schemas import held_to

PLACE = conditions.Post("QX1GAT-10", 58.6, -3.9167)
MINUTE = 60_000
HOUR = 60 * MINUTE


class Section(BaseModel):
    """A station file of which only the alerts are looked at."""

    model_config = ConfigDict(extra="forbid")

    alerts: list[Alert]


def written(text: str) -> list[Alert]:
    """The entries of a flow of YAML: `{name: x, …}`, one or several."""
    return check(parse(f"alerts: [{text}]", "station.yaml"), Section).alerts


class Watching:
    """A post with alerts. What they are is held to the schema, and told by name and words."""

    def __init__(self, text: str = "", place: conditions.Post = PLACE) -> None:
        self.post = Post()
        self.read = ReportReader(place)
        self.watch = AlertWatch(written(text), place, self.read, self.post.now())

    def alerts(self, judged: Judged) -> list[dict[str, Any]]:
        return [held_to(Schema.ALERT, encode(alert)) for alert in self.watch.hear([judged])]

    def hear(
        self, line: str, after: int = 0, *, reason: Reason | None = None, receiver: str = "vhf"
    ) -> list[dict[str, Any]]:
        """The alerts of a line of monitor text, heard so many milliseconds after what came before it."""
        self.post.wait(after)
        rule = "a-rule" if reason is Reason.RULE else None
        return self.alerts(self.post.hear(line.encode(), reason=reason, rule=rule, receiver=receiver))

    def names(self, line: str, after: int = 0, *, reason: Reason | None = None, receiver: str = "vhf") -> list[str]:
        """The names of those alerts; what is told again has a star."""
        found = self.hear(line, after, reason=reason, receiver=receiver)
        return [f"{alert['name']}{'*' if alert.get('repeated') else ''}" for alert in found]

    def tick(self, after: int = 0) -> list[dict[str, Any]]:
        """The alerts for silences so many milliseconds later."""
        self.post.wait(after)
        return [held_to(Schema.ALERT, encode(alert)) for alert in self.watch.tick(self.post.now())]
