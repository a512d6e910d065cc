"""What a station file says, said back in other words: call, place, whom it listens to, where it sends."""

from collections.abc import Iterator
from itertools import zip_longest

from gateway.frames.plain import PlainObject
from gateway.groundwork.duration import in_words
from gateway.groundwork.hosts import address_of
from gateway.groundwork.printable import printable
from gateway.reports import locator
from gateway.settings import RECEIVE_ONLY_PASSCODE, StationFile


class Understood:
    """The same for a terminal and for a script. It holds no secret."""

    def __init__(self, station: StationFile) -> None:
        self._station = station
        self._settings = station.settings

    def in_words(self) -> str:
        """A line or more for each matter, aligned."""
        lines = [
            (label if first else "", line)
            for label, texts in self._matters()
            for line, first in zip_longest(texts, [True], fillvalue="")
        ]
        width = max(len(label) for label, _ in lines)
        return "\n".join(f"  {label:{width}}  {printable(line)}" for label, line in lines)

    def to_object(self) -> PlainObject:
        """The plain form."""
        settings, bus, web = self._settings, self._station.bus, self._station.web
        uplink, journal, captures = self._station.uplink, self._station.journal, self._station.captures
        return {
            "callsign": settings.station.callsign,
            "position": self._position(),
            "listens_to": [
                {"name": receiver.name, "from": str(receiver.address), "allow": list(receiver.allow)}
                for receiver in settings.receivers
            ],
            "sends_to": {"servers": self._servers(), "receive_only": self._receives_only()} if uplink else None,
            "bus": {"broker": bus.broker, "topics": f"{bus.base}/{bus.callsign}/"} if bus else None,
            "lines": address_of(*settings.lines.listen) if settings.lines else None,
            "web": f"{'https' if web.certificate else 'http'}://{address_of(web.host, web.port)}/" if web else None,
            "club": self._club(),
            "journal": str(journal.path) if journal else None,
            "captures": str(captures.folder) if captures else None,
            "alerts": [alert.name for alert in settings.alerts],
        }

    def _matters(self) -> Iterator[tuple[str, list[str]]]:
        settings = self._settings
        yield "call", [settings.station.callsign]
        yield "place", [self._place_in_words()]
        yield (
            "listens to",
            [
                f"{receiver.name}: {receiver.address}{', from ' + ', '.join(receiver.allow) if receiver.allow else ''}"
                for receiver in settings.receivers
            ]
            or ["what the posts of the club hear"],
        )
        yield "sends to", [self._uplink_in_words()]
        if (club := self._club()) is not None:
            yield "the club", [f"{club['name']}, as a {club['role']}, by {', '.join(club['servers'])}"]
        yield "the house", [*self._house_in_words()] or ["gets nothing: there is no bus, lines, web or journal"]
        yield "alerts", [", ".join(["emergencies", *(alert.name for alert in settings.alerts)])]

    def _position(self) -> PlainObject | None:
        post = self._settings.post
        if post.latitude is None or post.longitude is None:
            return None
        cell = locator.write(post.latitude, post.longitude)
        return {"latitude": post.latitude, "longitude": post.longitude, "locator": cell}

    def _club(self) -> PlainObject | None:
        club = self._settings.club
        if club is None:
            return None
        servers = [f"{scheme}://{address_of(host, port)}" for scheme, host, port in club.addresses]
        return {"name": club.name, "role": club.role, "servers": servers}

    def _place_in_words(self) -> str:
        place = self._position()
        if place is None:
            is_hub = self._settings.club is not None and self._settings.club.role == "hub"
            return "not said: distances are from each post" if is_hub else "not said: no distances and bearings"
        latitude, longitude = place["latitude"], place["longitude"]
        north, east = "S" if latitude < 0 else "N", "W" if longitude < 0 else "E"
        return f"{abs(latitude):.4f} {north} {abs(longitude):.4f} {east}, {place['locator']}"

    def _uplink_in_words(self) -> str:
        if self._settings.club is not None and self._settings.club.role == "post":
            return "the hubs of the club"
        if self._settings.uplink is None:
            return "nowhere: there is no uplink"
        servers = ", then ".join(self._servers())
        return f"nowhere: it logs in to receive only, at {servers}" if self._receives_only() else servers

    def _house_in_words(self) -> Iterator[str]:
        plain = self.to_object()
        if plain["bus"]:
            yield f"bus: {plain['bus']['broker']}, topics under {plain['bus']['topics']}"
        if plain["lines"]:
            yield f"text port: {plain['lines']}"
        if plain["web"]:
            yield f"page: {plain['web']}{', with a token' if self._station.web_token else ''}"
        if (journal := self._settings.journal) is not None:
            yield f"journal: {plain['journal']}, {in_words(journal.keep)}"
        if plain["captures"]:
            yield f"captures: {plain['captures']}"

    def _servers(self) -> list[str]:
        return [address_of(*server) for server in self._settings.uplink.addresses] if self._settings.uplink else []

    def _receives_only(self) -> bool:
        return self._station.passcode_number == RECEIVE_ONLY_PASSCODE
