"""Tries one answer, by the probes that the doctor uses, and says what came of it."""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path

from gateway.frames import tnc2
from gateway.frames.frame import Frame
from gateway.groundwork.hosts import address_of
from gateway.groundwork.part import State
from gateway.groundwork.printable import printable
from gateway.groundwork.private_files import is_folder
from gateway.probes import broker, disk, listener, network_server, receiver
from gateway.probes.broker import BrokerFound
from gateway.probes.listener import PortFound
from gateway.probes.receiver import ReceiverFound
from gateway.receivers.address import parse
from gateway.settings import RECEIVE_ONLY_PASSCODE, WEB_PORT
from gateway.settings.bus import BusSettings
from gateway.settings.uplink import UplinkSettings
from gateway.setup.answers import GivenAnswers, Page
from gateway.setup.places import said_back, usual_frequency

_SHOWN = 70


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of an answer."""

    lines: tuple[str, ...] = ()
    is_fine: bool = True
    asks: str = ""
    """A question to the operator, who alone can tell; its answer is expected to be yes."""


_FINE = Trial()


@dataclass(frozen=True, slots=True)
class Trials:
    """Tries answers for the station that is to be in `folder`; a decoder is heard for so many seconds."""

    folder: Path
    listen_seconds: float = receiver.LISTEN_SECONDS

    async def of(self, key: str, answers: GivenAnswers) -> Trial:
        """Try what was answered to the question `key`."""
        tries = _TRIES.get(key)
        return _FINE if tries is None else await tries(self, answers)

    async def place(self, answers: GivenAnswers) -> Trial:
        """Said back in other words: the operator alone knows."""
        if answers.place is None:
            return _FINE
        return Trial((said_back(answers.place),), asks="Is that right?")

    async def receivers(self, answers: GivenAnswers) -> Trial:
        """Each is heard by the gateway's own receiver."""
        heard = await asyncio.gather(
            *(receiver.hear("trial", parse(address), seconds=self.listen_seconds) for address in answers.receivers)
        )
        lines = [f"{address}: {_heard(found)}" for address, found in zip(answers.receivers, heard, strict=True)]
        usual = usual_frequency(answers.place) if answers.place is not None else None
        if usual is not None:
            lines.append(f"VHF stations near you are usually on {usual} (common practice; your band plan goes first).")
        return Trial(tuple(lines), all(map(_is_fine, heard)))

    async def servers(self, answers: GivenAnswers) -> Trial:
        """Each is greeted, and asked to let us receive."""
        return await self._log_in(answers, RECEIVE_ONLY_PASSCODE)

    async def passcode(self, answers: GivenAnswers) -> Trial:
        """Each server is asked to verify the login."""
        if answers.passcode is None:
            return Trial(("Without a passcode nothing goes up; it can be added later.",))
        return await self._log_in(answers, int(answers.passcode.get_secret_value()))

    async def broker(self, answers: GivenAnswers) -> Trial:
        """It is asked whether it lets guests in; a refusal leads to the next question."""
        if answers.broker is None or BusSettings(broker=answers.broker).embedded:
            return _FINE
        found = await self._found_broker(answers)
        if found.refuses_login:
            return Trial(("it asks for a user",))
        return _of_broker(found)

    async def broker_user(self, answers: GivenAnswers) -> Trial:
        """Who needs no user must be let in without."""
        return await self.broker_password(answers) if answers.broker_user is None else _FINE

    async def broker_password(self, answers: GivenAnswers) -> Trial:
        """The user must be let in, and have the rights."""
        return _of_broker(await self._found_broker(answers))

    async def page(self, answers: GivenAnswers) -> Trial:
        """Its port must be free."""
        if answers.page is Page.NO:
            return _FINE
        found, why = await listener.try_port("tcp", web_host(answers.page), WEB_PORT)
        if found is PortFound.FREE:
            return _FINE
        return Trial((f"port {WEB_PORT} cannot be had: {why}; does a gateway run here already?",), is_fine=False)

    async def journal(self, answers: GivenAnswers) -> Trial:
        """Its folder must have room."""
        if not answers.journal or answers.service:
            return _FINE
        folder = next(place for place in (self.folder, *self.folder.absolute().parents) if is_folder(place))
        found = disk.look(folder)
        return Trial((f"{folder}: {found.trouble}",), is_fine=False) if found.trouble else _FINE

    async def _log_in(self, answers: GivenAnswers, passcode: int) -> Trial:
        addresses = UplinkSettings(servers=list(answers.servers)).addresses if answers.servers else ()
        found = await asyncio.gather(
            *(network_server.ask(host, port, answers.callsign, passcode, watch_seconds=0) for host, port in addresses)
        )
        lines = [
            f"{address_of(host, port)}: {_answered(each)}" for (host, port), each in zip(addresses, found, strict=True)
        ]
        is_untried = network_server.own_name(answers.callsign) is None  # it leaves no room for another SSID
        return Trial(tuple(lines), all(each.software and (each.accepted or is_untried) for each in found))

    async def _found_broker(self, answers: GivenAnswers) -> BrokerFound:
        user = {} if answers.broker_user is None else {"username": answers.broker_user}
        section = BusSettings(broker=answers.broker or "", **user)
        password = answers.broker_password.get_secret_value() if answers.broker_password is not None else None
        return await broker.ask(section.options(answers.callsign, self.folder, password))


_TRIES: dict[str, Callable[[Trials, GivenAnswers], Awaitable[Trial]]] = {
    "place": Trials.place,
    "receivers": Trials.receivers,
    "servers": Trials.servers,
    "passcode": Trials.passcode,
    "broker": Trials.broker,
    "broker_user": Trials.broker_user,
    "broker_password": Trials.broker_password,
    "page": Trials.page,
    "journal": Trials.journal,
}


def web_host(page: Page) -> str:
    """Where the page listens."""
    return "0.0.0.0" if page is Page.HOUSE else "127.0.0.1"  # noqa: S104 - the operator wants it for the house


def _of_broker(found: BrokerFound) -> Trial:
    if found.trouble is not None:
        return Trial((found.trouble.why,), is_fine=False)
    missing = [rights.filter for rights in found.rights if not rights.retained]
    if missing:
        return Trial((f"it lets us in, but not read, write and retain {', '.join(missing)}",), is_fine=False)
    return Trial(("it lets us in, and takes and retains what is published",))


def _is_fine(found: ReceiverFound) -> bool:
    """A decoder that is there and says nothing may have nothing to say."""
    return found.good_frames > 0 or (found.part.state is not State.DOWN and not found.counts.octets)


def _heard(found: ReceiverFound) -> str:
    first = next((each.frame for each in found.heard if isinstance(each.frame, Frame)), None)
    if first is not None:
        return f"hears {printable(tnc2.write(first).decode('utf-8', 'replace'), _SHOWN)}"
    if found.other_language is not None and found.other_language.address is not None:
        return f"it speaks {found.other_language.what}: answer {found.other_language.address}"
    return f"{found.part.why}; {found.part.do}"


def _answered(found: network_server.ServerFound) -> str:
    if not found.software:
        quotation = f"; it began with {found.said!r}" if found.said else ""
        return f"{found.trouble}{quotation}"
    if found.verified:
        return "greets and verifies the login"
    if found.accepted:
        return "greets"
    return f"greets, but does not take the login: {found.remark or found.trouble}"
