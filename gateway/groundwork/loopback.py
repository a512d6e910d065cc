"""Whether a host's name or address surely means this computer."""

from ipaddress import ip_address


def is_loopback(host: str) -> bool:
    """Whether only this computer can be meant, or reach what listens there: no resolver is asked.

    `localhost` and all below it (RFC 6761 section 6.3), 127.0.0.0/8 (RFC 1122 section 3.2.1.3), ::1 (RFC 4291 section
    2.5.3), and an IPv4 address of these that is written as IPv6 (RFC 4291 section 2.5.5.2).
    """
    name = host.lower().removesuffix(".")
    if name == "localhost" or name.endswith(".localhost"):
        return True
    try:
        address = ip_address(host)
    except ValueError:
        return False
    return (getattr(address, "ipv4_mapped", None) or address).is_loopback
