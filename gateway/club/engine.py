"""One connection to the engine (NATS JetStream), as much of it as a club needs: publish, compare-and-set, read, keep.

All that is hard is the engine's own. This module only says in our words how a request ended: it was done, refused, or
nobody knows. A connection is never repaired: when it is lost, whoever used it leaves its context and enters a fresh
one, so that nothing of the old one is sent late. The client's own buffer is off.
"""

import asyncio
import contextlib
import inspect
import ssl
from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Any

import nats
import nats.errors
import nats.js.errors
from nats.aio.client import Client
from nats.js import JetStreamContext, api
from nats.js.kv import KeyValue
from nats.js.object_store import ObjectStore

from gateway.club.subjects import Subjects
from gateway.groundwork.printable import printable

CONNECT_SECONDS = 3
ANSWER_SECONDS = 2.0
"""How long a request may take: within a lease of 6 s a write that is not answered leaves time for another."""

_KEY_FILE = next(name for name in inspect.signature(Client.connect).parameters if name.startswith("nkeys_"))
"""The client's option for a file with a user's key."""

PING_SECONDS = 2
UNANSWERED_PINGS = 2
"""A server that answers no ping for about so many times as long is lost."""

COPIES = 3
KEPT_SECONDS = 3600
KEPT_OCTETS = 1024**3
DUPLICATES_SECONDS = 120
SNAPSHOT_OCTETS = 256 * 1024 * 1024
SNAPSHOT_SECONDS = 20
STAMP_LOOKS = 5
STAMP_LOOK_SECONDS = 0.02

MAXIMUM_TEXT = 120
_OVERTAKEN = "something newer stands there"
_WRONG_LAST_SEQUENCE = frozenset((10071, 10164))
"""The engine's numbers for a message that was to follow another than the last one."""


class EngineUnansweredError(Exception):
    """Nobody knows whether the engine did it: no answer came, or the connection was lost."""


class RefusedError(Exception):
    """The engine did not do it. The text is the engine's, made printable and cut."""


class AbsentError(RefusedError):
    """There is no such stream, store or key."""


class OvertakenError(RefusedError):
    """Something else stands there by now: a compare-and-set that was not carried out, and never will be."""


class EngineError(Exception):
    """No connection came about; the text says why, and holds no secret."""


@dataclass(frozen=True, slots=True)
class EngineOptions:
    """How to reach the engine. The representation shows no secret."""

    servers: tuple[str, ...]
    """`nats://host:port` or `tls://host:port`, in the order in which they are tried."""

    name: str
    """By which the engine's operator knows this connection; answers come to subjects that begin with it."""

    user: str | None = None
    password: str | None = field(default=None, repr=False)
    credentials: str | None = field(default=None, repr=False)
    """The path of a file of the engine's own credentials: a token with its key, or a key alone."""

    holds_token: bool = False
    tls: ssl.SSLContext | None = None


class Engine:
    """A connection that stands, or did until `lost` was set."""

    def __init__(self, client: Client, subjects: Subjects, lost: asyncio.Event) -> None:
        self.subjects = subjects
        self.lost = lost
        self.client = client
        self.stream: JetStreamContext = client.jetstream(timeout=ANSWER_SECONDS)
        self._keys: KeyValue | None = None
        self._snapshots: ObjectStore | None = None

    async def publish(self, subject: str, octets: bytes, *, identity: str = "", after: int | None = None) -> int:
        """Store a message, once for its identity; gives back its number in the stream.

        `after`: only behind that one under the subject; 0: only as the first.

        Raises `AbsentError`, `OvertakenError`, `RefusedError` and `EngineUnansweredError`.
        """
        headers = {api.Header.MSG_ID.value: identity} if identity else {}
        if after is not None:
            headers[api.Header.EXPECTED_LAST_SUBJECT_SEQUENCE.value] = str(after)
        with in_our_words():
            answer = await self.stream.publish(subject, octets, stream=self.subjects.stream, headers=headers)
        return answer.seq

    async def stamp_ms(self, subject: str, sequence: int) -> float:
        """When the engine stored the newest message under a subject, which is this one. Raises as `publish` does.

        Any server that has a copy answers: one that has not got it yet is asked again.
        """
        for _ in range(STAMP_LOOKS):
            with in_our_words():
                message = await self.stream.get_last_msg(self.subjects.stream, subject, direct=True)
            if message.seq == sequence and message.time is not None:
                stamp_ms: float = message.time.timestamp() * 1000
                return stamp_ms
            await asyncio.sleep(STAMP_LOOK_SECONDS)
        raise EngineUnansweredError

    async def key(self, name: str) -> tuple[int, bytes | None]:
        """Revision and value of a key; 0 and None: there is none yet. Raises as `publish` does."""
        with in_our_words():
            try:
                entry = await (await self._store_of_keys()).get(name)
            except nats.js.errors.KeyNotFoundError as error:
                revision = error.entry.revision if error.entry is not None else 0
                return revision or 0, None
        return entry.revision or 0, entry.value

    async def set_key(self, name: str, value: bytes, revision: int, seconds: float = ANSWER_SECONDS) -> int:
        """Put a value in the place of that revision; gives back its own. Raises as `publish` does."""
        with in_our_words():
            async with asyncio.timeout(seconds):
                written: int = await (await self._store_of_keys()).update(name, value, last=revision)
        return written

    async def keep_snapshot(self, name: str, octets: bytes) -> None:
        """Keep a snapshot in the place of the one before. Raises as `publish` does."""
        with in_our_words():
            await (await self._store_of_snapshots()).put(name, octets)

    async def snapshot(self, name: str) -> bytes | None:
        """The snapshot that is kept; None where there is none. Raises as `publish` does."""
        with in_our_words():
            try:
                async with asyncio.timeout(SNAPSHOT_SECONDS):  # the client waits for ever for a piece that is gone
                    stored = await (await self._store_of_snapshots()).get(name)
            except (nats.js.errors.ObjectNotFoundError, nats.js.errors.ObjectDeletedError):
                return None
        octets: bytes = stored.data or b""
        return octets

    async def bounds(self) -> tuple[int, int]:
        """The first and the last message that the stream holds. Raises as `publish` does."""
        with in_our_words():
            state = (await self.stream.stream_info(self.subjects.stream)).state
        return state.first_seq, state.last_seq

    async def last_under(self, subject: str) -> tuple[int, bytes]:
        """The newest message under a subject. Raises as `publish` does: `AbsentError` where there is none."""
        with in_our_words():
            message = await self.stream.get_last_msg(self.subjects.stream, subject)
        return message.seq or 0, message.data or b""

    async def make_what_is_absent(self, servers: int) -> list[str]:
        """Make the stream and the stores, where there are none yet; change nothing that exists.

        Gives back the names of those. Raises as `publish` does: `RefusedError` where one exists that cannot be used.
        """
        copies = min(servers, COPIES)
        new_names = []
        with in_our_words():
            if await self._is_absent(self.subjects.stream):
                await self.stream.add_stream(_stream(self.subjects, copies))
                new_names.append(self.subjects.stream)
            if await self._is_absent(f"KV_{self.subjects.keys}"):
                keys = api.KeyValueConfig(bucket=self.subjects.keys, replicas=copies, storage=api.StorageType.FILE)
                await self.stream.create_key_value(keys)
                new_names.append(self.subjects.keys)
            if await self._is_absent(f"OBJ_{self.subjects.snapshots}"):
                store = api.ObjectStoreConfig(max_bytes=SNAPSHOT_OCTETS, replicas=copies, storage=api.StorageType.FILE)
                await self.stream.create_object_store(self.subjects.snapshots, store)
                new_names.append(self.subjects.snapshots)
        return new_names

    async def _is_absent(self, stream: str) -> bool:
        try:
            await self.stream.stream_info(stream)
        except nats.js.errors.NotFoundError:
            return True
        return False

    async def _store_of_keys(self) -> KeyValue:
        if self._keys is None:
            self._keys = await self.stream.key_value(self.subjects.keys)
        return self._keys

    async def _store_of_snapshots(self) -> ObjectStore:
        if self._snapshots is None:
            self._snapshots = await self.stream.object_store(self.subjects.snapshots)
        return self._snapshots


@contextlib.asynccontextmanager
async def connected(options: EngineOptions, subjects: Subjects, server: str) -> AsyncIterator[Engine]:
    """A connection to one server of the engine, while the context lasts. Raises `EngineError`."""
    lost = asyncio.Event()
    client = Client()

    async def on_end() -> None:
        lost.set()

    async def on_error(error: Exception) -> None:
        """What the client says beside its answers: whoever asked hears of it by its own answer, or by silence."""
        del error

    key: dict[str, Any] = {} if options.holds_token else {_KEY_FILE: options.credentials}
    try:
        async with asyncio.timeout(CONNECT_SECONDS):
            await client.connect(
                [server],
                name=options.name,
                allow_reconnect=False,
                max_reconnect_attempts=1,
                connect_timeout=CONNECT_SECONDS,
                ping_interval=PING_SECONDS,
                max_outstanding_pings=UNANSWERED_PINGS,
                pending_size=0,  # what cannot be sent now is ours to keep, or to let go
                inbox_prefix=f"_INBOX.{options.name}",
                closed_cb=on_end,
                error_cb=on_error,
                user=options.user,
                password=options.password,
                user_credentials=options.credentials if options.holds_token else None,
                tls=options.tls,
                **key,
            )
    except (OSError, nats.errors.Error, TimeoutError) as error:
        await _close(client)
        raise EngineError(_why(error)) from None
    try:
        yield Engine(client, subjects, lost)
    finally:
        await _close(client)


async def _close(client: Client) -> None:
    """The socket is closed whatever happens; what the client says of it no longer matters."""
    with contextlib.suppress(Exception):
        async with asyncio.timeout(CONNECT_SECONDS):
            await client.close()


def _stream(subjects: Subjects, copies: int) -> api.StreamConfig:
    return api.StreamConfig(
        name=subjects.stream,
        subjects=[subjects.everything],
        storage=api.StorageType.FILE,
        discard=api.DiscardPolicy.OLD,
        num_replicas=copies,
        max_age=KEPT_SECONDS,
        max_bytes=KEPT_OCTETS,
        duplicate_window=DUPLICATES_SECONDS,
        allow_direct=True,
    )


@contextlib.contextmanager
def in_our_words() -> Iterator[None]:
    """Whatever the client raises becomes one of ours. What is not surely refused counts as unanswered."""
    try:
        yield
    except nats.js.errors.KeyWrongLastSequenceError:
        raise OvertakenError(_OVERTAKEN) from None
    except nats.js.errors.APIError as error:
        raise _refusal(error) from None
    except nats.js.errors.NoStreamResponseError:
        raise AbsentError("there is no such stream") from None
    except (nats.errors.MaxPayloadError, nats.errors.BadSubjectError):
        raise RefusedError("the engine takes no message of this kind") from None
    except (nats.errors.Error, OSError, TimeoutError):
        raise EngineUnansweredError from None


def _refusal(error: nats.js.errors.APIError) -> Exception:
    if error.err_code in _WRONG_LAST_SEQUENCE:
        return OvertakenError(_OVERTAKEN)
    if error.code == HTTPStatus.NOT_FOUND:
        return AbsentError("there is no such stream, store or key")
    if error.code is None or error.code >= HTTPStatus.INTERNAL_SERVER_ERROR:  # no leader at the moment, for one
        return EngineUnansweredError()
    return RefusedError(printable(error.description or "it is refused", MAXIMUM_TEXT))


def _why(error: Exception) -> str:
    if isinstance(error, TimeoutError):
        return f"no answer within {CONNECT_SECONDS} s"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return printable(str(error).removeprefix("nats: ") or type(error).__name__, MAXIMUM_TEXT)
