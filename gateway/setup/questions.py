"""The questions, in their order: what is asked, what Enter means, how an answer is read. Nothing is tried here."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import SecretStr, ValidationError

from gateway.frames.header import PLACEHOLDERS, base_of, is_network_callsign
from gateway.groundwork.extras import adding
from gateway.groundwork.loopback import is_loopback
from gateway.receivers.address import AddressError, allowed_senders
from gateway.receivers.address import parse as parse_receiver
from gateway.settings.bus import BusSettings
from gateway.settings.secret import HIGHEST_PASSCODE
from gateway.settings.station import StationSettings
from gateway.settings.uplink import UplinkSettings
from gateway.setup.answers import GivenAnswers, Page
from gateway.setup.places import HOW_TO_WRITE, read_place
from gateway.setup.surroundings import ThisComputer
from gateway.uplink.passcode import belongs

LISTENING = frozenset({"", "listen", "i only listen", "only listen", "none", "no"})
NOTHING = frozenset({"", "no", "none", "-"})
EMBEDDED = "embedded"
_NO_SERVICE = (
    "a service sees no home folders and none for passing files, and wants paths without spaces:"
    " have Stile in /opt/stile, and its files in /etc/stile"
)
_YES, _NO = frozenset({"y", "yes", "true"}), frozenset({"n", "no", "false"})


Words = str | Callable[[GivenAnswers, ThisComputer], str]
"""What is said, or what tells it from what was answered so far and from what is around."""

Read = Callable[[str, GivenAnswers, ThisComputer], Mapping[str, Any]]
"""From what was typed to fields of `GivenAnswers`. Raises `ValueError`, whose message says what would be right."""


@dataclass(frozen=True, slots=True)
class Question:
    """One question."""

    key: str
    """What the answers file calls it."""

    asks: str
    read: Read
    explains: Words = ""
    """What is said before it, over one or more lines."""

    default: Words = ""
    """The answer of who only presses Enter; it is shown unless it is empty."""

    wanted: Callable[[GivenAnswers], bool] = field(default=lambda _answers: True)
    trying: str = ""
    """What is said where the trial of an answer takes a while."""

    is_secret: bool = False

    def answered(self, text: str, answers: GivenAnswers, around: ThisComputer) -> GivenAnswers:
        """The answers with this one. Raises `ValueError`."""
        answer = text.strip() or in_words(self.default, answers, around)
        return replace(answers, **self.read(answer, answers, around))


def in_words(words: Words, answers: GivenAnswers, around: ThisComputer) -> str:
    """What `words` say now."""
    return words if isinstance(words, str) else words(answers, around)


def is_yes(text: str) -> bool:
    """Raises `ValueError` for what is neither yes nor no."""
    word = text.strip().lower()
    if word in _YES or word in _NO:
        return word in _YES
    raise ValueError(f"{text.strip()!r} is neither yes nor no")


def _read_callsign(text: str, _answers: GivenAnswers, _around: ThisComputer) -> Mapping[str, Any]:
    if text.lower().rstrip(".") in LISTENING:
        return {"listens_only": True, "callsign": ""}
    if not is_network_callsign(text):
        raise ValueError(f"{text!r} is no callsign: letters and digits, and an SSID after a hyphen, as QX1GAT-10")
    callsign = _proper_name(text)
    base = base_of(callsign)
    # Every amateur's callsign holds a letter and a digit: ITU Radio Regulations, article 19 (from memory).
    if base in PLACEHOLDERS or base.isalpha() or base.isdecimal():
        raise ValueError(f"{text!r} is nobody's callsign: write your own, as QX1GAT-10, or: I only listen")
    return {"callsign": callsign, "listens_only": False}


def _read_name(text: str, _answers: GivenAnswers, _around: ThisComputer) -> Mapping[str, Any]:
    if not is_network_callsign(text):
        raise ValueError(f"{text!r} is no name for a post: up to nine letters and digits, no spaces, as HEADLAND")
    return {"callsign": _proper_name(text)}


def _proper_name(text: str) -> str:
    return str(_checked(StationSettings, "callsign", callsign=text))


def _read_place(text: str, _answers: GivenAnswers, _around: ThisComputer) -> Mapping[str, Any]:
    if text.lower() in NOTHING:
        return {"place": None, "locator": None}
    place, locator = read_place(text)
    return {"place": place, "locator": locator}


def _explain_decoders(_answers: GivenAnswers, around: ThisComputer) -> str:
    lines = [f"  {number}  {one.address}  {one.heard}" for number, one in enumerate(around.decoders, 1)]
    lines += [
        f"  {number}  kiss+serial://{device}" for number, device in enumerate(around.serial_devices, len(lines) + 1)
    ]
    if around.serial_devices:
        lines.append("A serial line is opened only if you choose it: one that keys a transmitter could do so then.")
    return "\n".join(lines) or (
        "No decoder was found on this computer. Start yours and name its address, or name the one that it will have."
    )


def _read_receivers(text: str, _answers: GivenAnswers, around: ThisComputer) -> Mapping[str, Any]:
    listed = [*(one.address for one in around.decoders), *(f"kiss+serial://{one}" for one in around.serial_devices)]
    addresses = tuple(dict.fromkeys(_receiver(word, listed) for word in re.split(r"[\s,]+", text) if word))
    if not addresses:
        raise ValueError("name a decoder: a number of the list, or an address as kiss+tcp://127.0.0.1:7581")
    return {"receivers": addresses}


def _receiver(word: str, listed: list[str]) -> str:
    if word.isdecimal():
        if not 1 <= int(word) <= len(listed):
            raise ValueError(f"there is no number {word} in the list")
        return listed[int(word) - 1]
    try:
        allowed_senders(parse_receiver(word))
    except AddressError as error:
        raise ValueError(str(error)) from None
    return word


def _read_servers(text: str, _answers: GivenAnswers, _around: ThisComputer) -> Mapping[str, Any]:
    if text.lower() in NOTHING:
        return {"servers": ()}
    servers = [word if "://" in word else f"tcp://{word}" for word in re.split(r"[\s,]+", text) if word]
    return {"servers": tuple(_checked(UplinkSettings, "servers", servers=servers))}


def _read_passcode(text: str, answers: GivenAnswers, _around: ThisComputer) -> Mapping[str, Any]:
    if text.lower() in {*NOTHING, "-1"}:
        return {"passcode": None}
    if not (text.isascii() and text.isdecimal() and len(text) < 6 and int(text) <= HIGHEST_PASSCODE):  # noqa: PLR2004 - digits
        raise ValueError(f"this is no passcode: a number from 0 to {HIGHEST_PASSCODE}")
    if not belongs(answers.callsign, int(text)):
        raise ValueError(f"this passcode does not belong to {answers.callsign}: the network would not take anything")
    return {"passcode": SecretStr(text)}


def _read_broker(text: str, _answers: GivenAnswers, around: ThisComputer) -> Mapping[str, Any]:
    if text.lower() in NOTHING:
        return {"broker": None}
    if text.lower() in _YES:
        raise ValueError("name its address, as mqtt://127.0.0.1:1883; or answer embedded, or no")
    if text == EMBEDDED and not around.can_embed_a_broker:
        raise ValueError(f"for this, install what it needs first: {adding('broker')}")
    address = text if "://" in text or text.startswith(EMBEDDED) else f"mqtt://{text}"
    return {"broker": _checked(BusSettings, "broker", broker=address)}


def _read_broker_user(text: str, _answers: GivenAnswers, _around: ThisComputer) -> Mapping[str, Any]:
    if text.lower() in NOTHING:
        return {"broker_user": None}
    return {"broker_user": _checked(BusSettings, "username", broker=EMBEDDED, username=text)}


def _read_broker_password(text: str, answers: GivenAnswers, _around: ThisComputer) -> Mapping[str, Any]:
    if not text:
        raise ValueError("there is no password")
    if not text.isprintable() or answers.broker is None:
        raise ValueError("a password is one line of printable characters")
    host = BusSettings(broker=answers.broker).address[0]
    if not answers.broker.startswith("mqtts://") and not is_loopback(host):
        raise ValueError(f"a password would go to {host} in the clear: name mqtts://{host} as the broker")
    return {"broker_password": SecretStr(text)}


def _read_page(text: str, _answers: GivenAnswers, _around: ThisComputer) -> Mapping[str, Any]:
    try:
        return {"page": Page("no" if text.lower() in NOTHING else text.lower())}
    except ValueError:
        raise ValueError(f"{text!r}: answer here, house or no") from None


def _read_journal(text: str, _answers: GivenAnswers, _around: ThisComputer) -> Mapping[str, Any]:
    return {"journal": is_yes(text)}


def _read_service(text: str, _answers: GivenAnswers, around: ThisComputer) -> Mapping[str, Any]:
    is_wanted = is_yes(text)
    if is_wanted and not around.can_be_a_service:
        raise ValueError(_NO_SERVICE)
    return {"service": is_wanted}


def _checked(section: type[Any], name: str, **values: object) -> Any:  # noqa: ANN401 - what the section makes of it
    """A value as a section of the station file takes it. Raises `ValueError` in that section's words."""
    try:
        return getattr(section(**values), name)
    except ValidationError as error:
        raise ValueError(error.errors()[0]["msg"].removeprefix("Value error, ")) from None


def _first_decoder(_answers: GivenAnswers, around: ThisComputer) -> str:
    return "1" if any(one.speaks for one in around.decoders) else ""


def _usual_broker(_answers: GivenAnswers, around: ThisComputer) -> str:
    return "mqtt://127.0.0.1:1883" if around.has_broker else "no"


QUESTIONS = (
    Question(
        "callsign",
        'Your callsign with an SSID, as QX1GAT-10, or "I only listen"',
        _read_callsign,
        "To send to the network you need your own callsign; the SSID after the hyphen tells your stations apart.",
        "I only listen",
    ),
    Question(
        "name",
        "A name for the post, up to nine letters and digits",
        _read_name,
        "Nothing is sent. The name is shown in the house alone.",
        "POST",
        lambda answers: answers.listens_only,
    ),
    Question(
        "place",
        "Where the antenna is, or Enter to leave it out",
        _read_place,
        f"For distances and bearings: {HOW_TO_WRITE}.",
    ),
    Question(
        "receivers",
        "Which decoder, or decoders: numbers of the list, or addresses",
        _read_receivers,
        _explain_decoders,
        _first_decoder,
        trying="Listening there, for up to 10 s ...",
    ),
    Question(
        "servers",
        "Servers of the network, as server.example:14580, or Enter for none",
        _read_servers,
        "The network's operators name servers for your region. Without one, what is heard stays in the house.",
        wanted=lambda answers: not answers.listens_only,
    ),
    Question(
        "passcode",
        "Your passcode (it is not shown), or Enter to receive only",
        _read_passcode,
        "The network's operators give one to licensed operators who ask.",
        wanted=lambda answers: bool(answers.servers),
        is_secret=True,
    ),
    Question(
        "broker",
        "An MQTT broker for the house: its address, embedded, or no",
        _read_broker,
        "Home automation and screens get what is heard from it. `embedded` starts one inside the gateway.",
        _usual_broker,
    ),
    Question(
        "broker_user",
        "The broker's user for the gateway, or Enter for none",
        _read_broker_user,
        wanted=lambda answers: answers.broker is not None and not answers.broker.startswith(EMBEDDED),
    ),
    Question(
        "broker_password",
        "The password of that user (it is not shown)",
        _read_broker_password,
        wanted=lambda answers: answers.broker_user is not None,
        is_secret=True,
    ),
    Question(
        "page",
        "The page: for this computer (here), for the whole house (house), or no",
        _read_page,
        "It shows what is heard and whether all is well. Positions of people at home are personal data.",
        Page.HERE.value,
    ),
    Question(
        "journal",
        "Keep a journal of what was heard for 30 days",
        _read_journal,
        default="yes",
    ),
    Question(
        "service",
        "Write a service, so that it runs from the start of the computer",
        _read_service,
        lambda _, around: "" if around.can_be_a_service else f"Not from here: {_NO_SERVICE}.",
        lambda _, around: "yes" if around.is_for_a_service and around.can_be_a_service else "no",
    ),
)
