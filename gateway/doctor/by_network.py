"""Judges names, the servers of the network, and whether another gateway has the station's login."""

from collections.abc import Iterator

from gateway.doctor.evidence import Evidence
from gateway.doctor.finding import Finding, look, ok, untried, wrong
from gateway.probes.network_server import ServerFound, own_name

_ANOTHER = "stop the other gateway, or give one of the two another SSID: the network throws off the elder login"


def names(evidence: Evidence) -> Iterator[Finding]:
    """Whether the names of hosts lead to addresses."""
    for name, trouble in evidence.names.items():
        if trouble is None:
            yield look("it could not be looked up in time", "try again", name)
        elif trouble:
            yield wrong(trouble, "see that the name is right, and that this computer has a name service", name)
        else:
            yield ok("leads to an address", name)


def servers(evidence: Evidence) -> Iterator[Finding]:
    """Whether each server greets, and takes the login."""
    is_untried = own_name(_callsign(evidence)) is None
    greeting = [server for server in evidence.servers.values() if server is not None and server.software]
    another_works = any(server.accepted or is_untried for server in greeting)
    for address, server in evidence.servers.items():
        if server is None:
            yield untried(address)
        else:
            yield _of_server(address, server, another_works=another_works, callsign=_callsign(evidence))


def another_gateway(evidence: Evidence) -> Iterator[Finding]:
    """Whether another gateway runs with the station's login."""
    if evidence.gateway_runs or evidence.station is None:
        return  # what is seen of this login is our own gateway's
    lines = sum(server.same_login for server in evidence.servers.values() if server is not None)
    online = evidence.broker is not None and evidence.broker.gateway_online
    if lines:
        yield wrong(f"{lines} lines came up under {_callsign(evidence)} while none runs here", _ANOTHER)
    if online:
        what = "the broker says that a gateway with this callsign is online, and none runs here"
        yield wrong(what, f"{_ANOTHER}; or give one of the two another `bus: {{base: ...}}`")
    if not lines and not online and any(server is not None and server.verified for server in evidence.servers.values()):
        yield ok("nothing was seen of one")


def _of_server(address: str, server: ServerFound, *, another_works: bool, callsign: str) -> Finding:
    if not server.software:
        return _without_greeting(address, server, another_works=another_works)
    greeting = f"greets ({server.software})"
    if own_name(callsign) is None:
        what = f"{greeting}; the login was not tried, since {callsign} leaves no room for a second SSID"
        return look(what, "see the uplink in `stile watch`", address)
    if server.verified is None:
        return wrong(f"{greeting}, but: {server.trouble}{_remark(server)}", "try another server", address)
    if server.verified:
        return ok(f"{greeting} and verifies the login", address)
    if server.accepted:
        return ok(f"{greeting} and takes the login to receive only", address)
    do = f"see that the passcode is the one of {callsign}"
    return wrong(f"{greeting}, but does not verify the login{_remark(server)}", do, address)


def _without_greeting(address: str, server: ServerFound, *, another_works: bool) -> Finding:
    if server.said:
        what = f"what answers there is no server of the network: it began with {server.said!r}"
        return wrong(what, "see the host and the port; the network's is 14580 by custom", address)
    if another_works:
        return look(server.trouble, "another server of the list takes the login, and is used instead", address)
    return wrong(server.trouble, "can this computer reach it? the network's port is 14580 by custom", address)


def _remark(server: ServerFound) -> str:
    return f" (it says: {server.remark})" if server.remark else ""


def _callsign(evidence: Evidence) -> str:
    return evidence.station.settings.station.callsign if evidence.station is not None else ""
