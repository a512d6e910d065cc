"""What went wrong with the broker, in words for the operator: never the broker's own text, which may say anything."""

import os
import socket
import ssl
from collections import deque
from collections.abc import Iterator

from gateway.bus.options import BusOptionsError
from gateway.groundwork.duration import MINUTE_MS
from gateway.groundwork.part import Trouble

UNSUPPORTED_PROTOCOL = 132
"""Reason code "Unsupported Protocol Version" (MQTT 5.0 section 3.2.2.2)."""


SUSPICIOUS = 2
"""So many closes within a minute: a broker that is started again closes once."""

MAXIMUM_COUNTED = 100
"""More than the pauses between tries let happen in a minute."""


class BrokerError(Exception):
    """There is no connection to the broker, or no longer."""

    def __init__(self, said: str, code: int | None = None) -> None:
        """`code` is the reason code with which the broker refused or ended it (MQTT 5.0 section 2.4)."""
        super().__init__(said)
        self.code = code


class PacketTooLargeError(BrokerError):
    """The broker is about to send more than is read: the connection is over before it does."""


class ClosedError(BrokerError):
    """The broker closed a connection that stood."""


_NO_REASON = 128
"""Reason code "Unspecified error": paho gives it to every connection that breaks."""

_UNREACHABLE = "see that the broker runs, and that bus.broker names it"

_STOP_THE_OTHER = "stop the second gateway that has the same callsign and bus.base"

_NOT_LET_IN = Trouble(
    "the broker does not let this user in: wrong username or password", "check bus.username and bus.password_file"
)

# By reason code (MQTT 5.0 section 2.4); the codes of MQTT 3.1.1 arrive translated into these.
_BY_CODE = {
    UNSUPPORTED_PROTOCOL: Trouble("the broker speaks neither MQTT 5 nor 3.1.1", "use a broker that does"),
    134: _NOT_LET_IN,
    135: _NOT_LET_IN,
    136: Trouble("the broker says that it is unavailable", "look at the broker's own log"),
    137: Trouble("the broker says that it is busy", "look at the broker's own log"),
    138: Trouble("the broker has banned this client", "look at the broker's own log"),
    139: Trouble("the broker shuts down", "start the broker again"),
    142: Trouble("another session with this client id", _STOP_THE_OTHER),
    141: Trouble("the broker fell silent", _UNREACHABLE),
    149: Trouble("a message was too large for the broker", "raise the broker's limit for the size of a packet"),
    151: Trouble("the broker has no room left for this client", "look at the broker's own log"),
}


def explain(error: BaseException) -> Trouble:
    """The trouble that `error`, or what caused it, tells of."""
    cause = error.__cause__ or error
    if isinstance(cause, BusOptionsError):
        return Trouble(str(cause), "then wait for the next try, or restart")
    if isinstance(error, PacketTooLargeError):
        return Trouble(str(error), "find the large retained message under bus.base or the hub's prefix, and clear it")
    code = code_of(error)
    if code is not None:
        trouble = _BY_CODE.get(code)
        return trouble or Trouble(f"the broker ended the connection with code {code}", "look at the broker's own log")
    if isinstance(cause, OSError):
        return _of_system(cause)
    return Trouble("the connection to the broker broke, or it does not answer", _UNREACHABLE)


class SilentCloses:
    """How often the broker closed without a reason of late: with MQTT 3.1.1 it cannot say that another came."""

    def __init__(self) -> None:
        self._at_ms: deque[int] = deque(maxlen=MAXIMUM_COUNTED)

    def explain(self, error: BrokerError, now_ms: int) -> Trouble | None:
        """The trouble, where `error` is one more of them and not the only one within a minute."""
        if not isinstance(error, ClosedError) or code_of(error) is not None:
            return None
        self._at_ms.append(now_ms)
        while self._at_ms[0] <= now_ms - MINUTE_MS:
            self._at_ms.popleft()
        if (count := len(self._at_ms)) < SUSPICIOUS:
            return None
        why = f"the broker closed without a reason, {count} times a minute: perhaps another client has this id"
        return Trouble(why, _STOP_THE_OTHER)


def code_of(error: BaseException) -> int | None:
    """The reason code with which the broker refused or ended a connection, where it gave one."""
    code = error.code if isinstance(error, BrokerError) else None
    return code if code is not None and code > _NO_REASON else None


def most_telling(errors: BaseExceptionGroup[BrokerError]) -> BrokerError:
    """The error of a group that says why: where several tasks fail together, most only say that they do."""
    leaves = list(_leaves(errors))
    return next((error for error in leaves if code_of(error) is not None), leaves[0])


def _leaves(errors: BaseExceptionGroup[BrokerError]) -> Iterator[BrokerError]:
    for error in errors.exceptions:
        if isinstance(error, BaseExceptionGroup):
            yield from _leaves(error)
        else:
            yield error


def _of_system(error: OSError) -> Trouble:
    if isinstance(error, socket.gaierror):
        return Trouble("the name of the broker's host cannot be resolved", "check bus.broker, and the name service")
    if isinstance(error, ssl.SSLCertVerificationError):
        return Trouble(
            f"the broker's certificate is not trusted: {error.verify_message}",
            "check bus.ca; gateway/bus/README.md says how to make certificates that every version of Python takes",
        )
    if isinstance(error, ssl.SSLError):
        return Trouble("the broker does not agree on TLS", "see that the port is the broker's TLS port")
    if isinstance(error, TimeoutError):
        return Trouble("the broker does not answer", _UNREACHABLE)
    if error.errno is not None:
        return Trouble(f"the broker cannot be reached: {os.strerror(error.errno)}", _UNREACHABLE)
    return Trouble("the broker cannot be reached", _UNREACHABLE)
