import pytest

from gateway.groundwork.loopback import is_loopback


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
        "",
    ],
)
def test_these_can_be_reached_from_elsewhere_or_mean_another(host: str) -> None:
    assert not is_loopback(host)
