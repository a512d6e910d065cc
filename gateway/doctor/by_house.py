"""Judges the broker of the house and the engine of a club."""

from collections.abc import Iterator

from gateway.doctor.evidence import Evidence
from gateway.doctor.finding import Finding, ok, untried, wrong
from gateway.probes.broker import TopicRights


def broker(evidence: Evidence) -> Iterator[Finding]:
    """Whether the broker lets the gateway in, and publish, read back and retain."""
    bus = evidence.station.settings.bus if evidence.station is not None else None
    if bus is None:
        return
    if bus.embedded:
        yield ok("the gateway starts one of its own, on loopback", bus.broker)
        return
    found = evidence.broker
    if found is None:
        yield untried(bus.broker)
    elif found.trouble is not None:
        yield wrong(found.trouble.why, found.trouble.do, bus.broker)
    else:
        for rights in found.rights:
            yield _of_rights(rights, bus.username, bus.broker)


def club(evidence: Evidence) -> Iterator[Finding]:
    """Whether each engine of the club greets."""
    for address, trouble in evidence.engines.items():
        if trouble is None:
            yield untried(address)
        elif trouble:
            yield wrong(f"it {trouble}", "see that the engine runs there, and that `club.servers` names it", address)
        else:
            yield ok("greets", address)


def _of_rights(rights: TopicRights, username: str | None, broker: str) -> Finding:
    user = f"the user {username}" if username else "guests"
    give = f"let {user} read and write {rights.filter} in the broker's access list"
    if rights.refuses_to_tell:
        return wrong(f"it does not let {user} subscribe to {rights.filter}", give, broker)
    if not rights.came:
        return wrong(f"what {user} published under {rights.filter} did not come back", give, broker)
    if not rights.retained:
        do = "let it retain messages: the last of each station, and whether the gateway is online, stand on that"
        return wrong(f"it does not retain what is published under {rights.filter}", do, broker)
    return ok(f"publishes, reads back and retains {rights.filter}", broker)
