import subprocess
import sys

import pytest

from gateway.web.options import WebOptions, WebOptionsError
from tests.web.opened import TOKEN


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.9.1", "::1", "localhost", "stile.localhost"])
def test_on_loopback_no_token_is_asked_for(host: str) -> None:
    assert WebOptions("QX1GAT-10", host).token is None


@pytest.mark.parametrize(
    "host", ["0.0.0.0", "::", "192.0.2.7", "2001:db8::7", "stile.example", "localhost.example", ""]
)
def test_anywhere_else_a_token_must_be_set(host: str) -> None:
    with pytest.raises(WebOptionsError, match="token_file"):
        WebOptions("QX1GAT-10", host)
    assert WebOptions("QX1GAT-10", host, token=TOKEN).host == host


@pytest.mark.parametrize(
    "token", ["", "short", "fifteen-letters", "with spaces in between", "ünïcödé-is-no-header", "x" * 257]
)
def test_a_token_that_is_no_good_secret_is_refused_without_repeating_it(token: str) -> None:
    with pytest.raises(WebOptionsError) as refused:
        WebOptions("QX1GAT-10", token=token)
    assert not token or token not in str(refused.value)


def test_the_token_shows_nowhere_in_the_options() -> None:
    assert TOKEN not in repr(WebOptions("QX1GAT-10", token=TOKEN))


def test_a_station_without_a_web_does_not_pay_for_the_http_library() -> None:
    modules = "gateway.web.options, gateway.web.sources, gateway.lines.server, gateway.lines.options"
    program = f"import sys, {modules}; sys.exit('aiohttp' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
