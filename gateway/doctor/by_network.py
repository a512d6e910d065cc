"""Judges names, the servers of the network, and whether another gateway has the station's login."""

from collections.abc import Iterator

from gateway.doctor.evidence import Evidence
from gateway.doctor.finding import Finding, look, ok, wrong
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
    any_greets = any(found is not None and found.software for found in evidence.servers.values())
    for address, found in evidence.servers.items():
        if found is None:
            yield look("it could not be tried in time", "try again", address)
        else:
            yield _of_server(address, found, any_greets=any_greets, callsign=_callsign(evidence))


def another_gateway(evidence: Evidence) -> Iterator[Finding]:
    """Whether another gateway runs with the station's login."""
    if evidence.gateway_runs or evidence.station is None:
        return  # what is seen of this login is our own gateway's
    lines = sum(found.same_login for found in evidence.servers.values() if found is not None)
    online = evidence.broker is not None and evidence.broker.gateway_online
    if lines:
        yield wrong(f"{lines} lines came up under {_callsign(evidence)} while none runs here", _ANOTHER)
    if online:
        what = "the broker says that a gateway with this callsign is online, and none runs here"
        yield wrong(what, f"{_ANOTHER}; or give one of the two another `bus: {{base: ...}}`")
    if not lines and not online and any(found is not None and found.verified for found in evidence.servers.values()):
        yield ok("nothing was seen of one")


def _of_server(address: str, found: ServerFound, *, any_greets: bool, callsign: str) -> Finding:
    if not found.software:
        return _without_greeting(address, found, any_greets=any_greets)
    greeting = f"greets ({found.software})"
    if own_name(callsign) is None:
        what = f"{greeting}; the login was not tried, since {callsign} leaves no room for a second SSID"
        return look(what, "see the uplink in `stile watch`", address)
    if found.verified is None:
        return wrong(f"{greeting}, but: {found.trouble}{_remark(found)}", "try another server", address)
    if found.verified:
        return ok(f"{greeting} and verifies the login", address)
    if found.accepted:
        return ok(f"{greeting} and takes the login to receive only", address)
    do = f"see that the passcode is the one of {callsign}"
    return wrong(f"{greeting}, but does not verify the login{_remark(found)}", do, address)


def _without_greeting(address: str, found: ServerFound, *, any_greets: bool) -> Finding:
    if found.said:
        what = f"what answers there is no server of the network: it began with {found.said!r}"
        return wrong(what, "see the host and the port; the network's is 14580 by custom", address)
    if any_greets:
        return look(found.trouble, "another server of the list greets, and is taken instead", address)
    return wrong(found.trouble, "can this computer reach it? the network's port is 14580 by custom", address)


def _remark(found: ServerFound) -> str:
    return f" (it says: {found.remark})" if found.remark else ""


def _callsign(evidence: Evidence) -> str:
    return evidence.station.settings.station.callsign if evidence.station is not None else ""
