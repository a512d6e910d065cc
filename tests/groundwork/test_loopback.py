import pytest

from gateway.groundwork.loopback import is_loopback, plain_address


@pytest.mark.parametrize(
    "host",
    [
        "localhost",
        "LocalHost.",
        "page.localhost",  # RFC 6761 section 6.3: all names below it, too
        "127.0.0.1",
        "127.255.0.3",  # RFC 1122 section 3.2.1.3: the whole of 127.0.0.0/8
        "::1",
        "0:0:0:0:0:0:0:1",
        "::1%lo",
        "::ffff:127.0.0.1",  # RFC 4291 section 2.5.5.2
    ],
)
def test_these_mean_this_computer_and_no_other(host: str) -> None:
    assert is_loopback(host)


@pytest.mark.parametrize(
    "host",
    [
        "0.0.0.0",
        "::",
        "192.168.1.20",
        "128.0.0.1",
        "::2",
        "::ffff:192.168.1.20",
        "localhost.example",
        "mylocalhost",
        "127.0.0.1%lo",  # only IPv6 has zones: this is a name
        "",
    ],
)
def test_these_can_be_reached_from_elsewhere_or_mean_another(host: str) -> None:
    assert not is_loopback(host)


def test_an_address_is_the_same_however_it_is_written() -> None:
    assert plain_address("fe80::1%eth0") == plain_address("FE80:0::1") != plain_address("fe80::2")
    assert plain_address("::ffff:192.168.1.20") == plain_address("192.168.1.20")
    assert plain_address("post.example") is None
