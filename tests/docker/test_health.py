import importlib.util
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from types import ModuleType

import pytest

from gateway import settings
from tests.docker.reading import FOLDER


def load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("health", FOLDER / "health.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


health = load()


@contextmanager
def page(status: int) -> Iterator[int]:
    """A page that answers /healthz with `status`, and everything else with 404; its port."""

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(status if self.path == "/healthz" else 404)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Answer) as server:
        answering = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        answering.start()
        try:
            yield server.server_address[1]
        finally:
            server.shutdown()
            answering.join()


@pytest.fixture
def gateway(tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A process that looks like a gateway with the station file station.yaml, alone in the folder processes/."""
    program = tmp_path / "stile"
    program.write_text("import sys; print(flush=True); sys.stdin.read()")
    command = [sys.executable, str(program), "run", "station.yaml"]
    with subprocess.Popen(command, cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as it:
        assert it.stdout is not None
        it.stdout.readline()  # it runs
        folder = tmp_path / "processes"
        folder.mkdir()
        (folder / str(it.pid)).symlink_to(f"/proc/{it.pid}")  # as proc(5) shows it
        (folder / "self").symlink_to("/proc/self")
        yield it
        it.kill()


def check(tmp_path: Path, station: str) -> int:
    (tmp_path / "station.yaml").write_text(station)
    status: int = health.main(tmp_path / "processes")
    return status


def test_without_a_page_a_process_that_works_is_enough(tmp_path: Path, gateway: subprocess.Popen[bytes]) -> None:
    assert gateway.poll() is None
    assert check(tmp_path, "station: {callsign: QX1GAT-10}") == 0


def test_a_page_that_answers_is_healthy(tmp_path: Path, gateway: subprocess.Popen[bytes]) -> None:
    assert gateway.poll() is None
    with page(200) as port:
        assert check(tmp_path, f"web: {{listen: '127.0.0.1:{port}'}}") == 0
        assert check(tmp_path, f"web: {{listen: '0.0.0.0:{port}'}}") == 0


@pytest.mark.parametrize("status", [404, 500, 503])
def test_a_page_that_answers_otherwise_is_not(
    tmp_path: Path, gateway: subprocess.Popen[bytes], capsys: pytest.CaptureFixture[str], status: int
) -> None:
    assert gateway.poll() is None
    with page(status) as port:
        assert check(tmp_path, f"web: {{listen: '127.0.0.1:{port}'}}") == 1
    assert capsys.readouterr().out == f"/healthz answers {status}\n"


def test_a_page_that_does_not_answer_is_not_healthy(
    tmp_path: Path, gateway: subprocess.Popen[bytes], capsys: pytest.CaptureFixture[str]
) -> None:
    assert gateway.poll() is None
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    assert check(tmp_path, f"web: {{listen: '127.0.0.1:{port}'}}") == 1
    assert "/healthz does not answer: " in capsys.readouterr().out


def test_no_gateway_at_all_is_not_healthy(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "processes").mkdir()
    assert check(tmp_path, "") == 1
    assert capsys.readouterr().out == "no gateway runs here\n"


def test_a_stopped_gateway_is_not_healthy(
    tmp_path: Path, gateway: subprocess.Popen[bytes], capsys: pytest.CaptureFixture[str]
) -> None:
    gateway.send_signal(signal.SIGSTOP)
    os.waitpid(gateway.pid, os.WUNTRACED)
    assert check(tmp_path, "") == 1
    assert capsys.readouterr().out == "the gateway's process does nothing: its state is T\n"


@pytest.mark.parametrize(
    ("station", "address"),
    [
        ("web: {listen: '127.0.0.1:7583'}", ("127.0.0.1", 7583, False)),
        ("web: {listen: '0.0.0.0:7583'}", ("127.0.0.1", 7583, False)),
        ("web: {listen: '[::]:7583'}", ("::1", 7583, False)),
        ("web: {listen: '[::1]:7583'}", ("::1", 7583, False)),
        ("web: {listen: localhost}", ("localhost", settings.WEB_PORT, False)),
        ("web: {}", ("127.0.0.1", settings.WEB_PORT, False)),
        ("web: {token_file: token}", ("127.0.0.1", settings.WEB_PORT, False)),
        ("bus: {broker: embedded}", None),
        ("web:", None),
        ("web: true", None),
        ("web: {listen: '127.0.0.1:80730'}", None),
        ("web: {certificate: own.pem}", ("127.0.0.1", settings.WEB_PORT, True)),
        ("[]", None),
        ("web: {listen: [}", None),
    ],
)
def test_the_page_is_asked_where_the_station_file_says(
    tmp_path: Path, station: str, address: tuple[str, int, bool] | None
) -> None:
    (tmp_path / "station.yaml").write_text(station)
    assert health.page_address(tmp_path / "station.yaml") == address
