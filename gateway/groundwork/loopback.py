"""Whether a host's name or address surely means this computer, and what an address is however it is written."""

from ipaddress import IPv4Address, IPv6Address, ip_address


def is_loopback(host: str) -> bool:
    """Whether only this computer can be meant, or reach what listens there: no resolver is asked.

    `localhost` and all below it (RFC 6761 section 6.3), 127.0.0.0/8 (RFC 1122 section 3.2.1.3), ::1 (RFC 4291 section
    2.5.3), and an IPv4 address of these that is written as IPv6 (RFC 4291 section 2.5.5.2).
    """
    name = host.lower().removesuffix(".")
    if name == "localhost" or name.endswith(".localhost"):
        return True
    address = plain_address(host)
    return address is not None and address.is_loopback


def plain_address(host: str) -> IPv4Address | IPv6Address | None:
    """The address that a host is named by, without its zone; None: a name. IPv4 written as IPv6 is IPv4 (RFC 4291)."""
    try:
        address = ip_address(host)
    except ValueError:
        return None
    return address if isinstance(address, IPv4Address) else address.ipv4_mapped or IPv6Address(int(address))
