import subprocess
import sys

from tests.options import web_options
from tests.web.opened import TOKEN


def test_the_token_shows_nowhere_in_the_options() -> None:
    assert TOKEN not in repr(web_options(token=TOKEN))


def test_a_station_without_a_web_does_not_pay_for_the_http_library() -> None:
    modules = "gateway.web.options, gateway.web.sources, gateway.lines.server, gateway.lines.options"
    program = f"import sys, {modules}; sys.exit('aiohttp' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
