"""Who may do what at the embedded broker: anybody may read, and write elsewhere, but what the gateway says is its own.

The gateway shows a key that exists in its process alone. As a plugin of the broker (extra: broker).
"""

import hmac
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Any

from amqtt.contexts import Action, BaseContext  # type: ignore[import-untyped] # it comes without types
from amqtt.plugins.base import BaseAuthPlugin, BaseTopicPlugin  # type: ignore[import-untyped] # as above
from amqtt.session import Session  # type: ignore[import-untyped] # as above

from gateway.bus.embedded_streams import Clients

MOST_RETAINED = 2000
MAXIMUM_RETAINED_OCTETS = 16 * 1024 * 1024
"""Topics of others that are retained, and their octets: past either, only the gateway writes to further ones."""

LONGEST_TOPIC = 1024
MOST_SUBSCRIPTIONS = 200
"""Of one client."""


class Rights(BaseAuthPlugin, BaseTopicPlugin):  # type: ignore[misc] # without types
    """Asked by the broker about every client, message and subscription."""

    @dataclass
    class Config:
        """What the broker is told of it."""

        key: str
        clients: Clients
        kept: list[str] = field(default_factory=list)
        """What the gateway's topics begin with; whoever shows the key may write there."""

    def __init__(self, context: BaseContext) -> None:
        super().__init__(context)
        self._retained: dict[str, int] = {}
        self._subscriptions: dict[str, int] = {}

    async def authenticate(self, *, session: Session) -> bool:
        """Anybody may come who leaves no will for a topic of the gateway's."""
        session.is_anonymous = True  # nothing is kept for it while it is away
        self._subscriptions.pop(session.client_id or "", None)
        clients = self.config.clients
        if self._is_own(session):
            clients.own_ports.add(session.remote_port)
        elif session.will_topic is not None and not self._may_write(session.will_topic):
            return False
        clients.known_ports.add(session.remote_port)
        return True

    async def topic_filtering(
        self, *, session: Session | None = None, topic: str | None = None, action: Action | None = None
    ) -> bool:
        """Whether that may be done with a topic."""
        if topic is None or session is None or len(topic) > LONGEST_TOPIC:
            return False
        if action is Action.PUBLISH:
            return self._is_own(session) or self._may_write(topic)
        if action is Action.SUBSCRIBE:
            count = self._subscriptions.get(session.client_id or "", 0) + 1
            self._subscriptions[session.client_id or ""] = count
            return count <= MOST_SUBSCRIPTIONS
        return True

    async def on_broker_client_disconnected(self, client_id: str, **_: Any) -> None:  # noqa: ANN401 - the plugin's form
        """Nothing is remembered of who has gone."""
        self._subscriptions.pop(client_id, None)

    async def on_broker_retained_message(self, *, retained_message: Any, **_: Any) -> None:  # noqa: ANN401 - as above
        """Something is retained, or cleared."""
        topic, octets = retained_message.topic, len(retained_message.data or b"")
        if not octets:
            self._retained.pop(topic, None)
        elif not self._is_kept(topic):
            self._retained[topic] = octets

    def _is_own(self, session: Session) -> bool:
        return hmac.compare_digest((session.password or "").encode(), self.config.key.encode())

    def _is_kept(self, topic: str) -> bool:
        return any(topic.startswith(kept) for kept in self.config.kept)

    def _may_write(self, topic: str) -> bool:
        if self._is_kept(topic):
            return False
        is_full = len(self._retained) >= MOST_RETAINED or sum(self._retained.values()) >= MAXIMUM_RETAINED_OCTETS
        return topic in self._retained or not is_full


def asked_of_writers_alone(ask: Callable[..., Awaitable[dict[Any, Any]]]) -> Callable[..., Awaitable[dict[Any, Any]]]:
    """The broker's own question to its plugins about a topic, answered at once where a client is only to receive.

    The broker asks it of each subscriber, in a task of its own, while it goes through its subscriptions. Whoever came
    or went meanwhile changed them under its hands, and the message was lost for all subscribers that were left. Anybody
    may receive anything here, so nobody needs to be asked, and one message is handed to all in a single step.
    """

    async def asked(*, session: Session, topic: str, action: Action) -> dict[Any, Any]:
        return {} if action is Action.RECEIVE else await ask(session=session, topic=topic, action=action)

    return asked
