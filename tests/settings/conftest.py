"""A folder with secrets in it."""

from pathlib import Path

import pytest

from tests.settings.reading import HUSH, PASSCODE


@pytest.fixture
def house(tmp_path: Path) -> Path:
    (tmp_path / "passcode").write_text(f"{PASSCODE}\n")
    (tmp_path / "secrets").mkdir()
    for secret in ("bus", "web"):
        (tmp_path / "secrets" / secret).write_text(f"{HUSH}\n")
    return tmp_path
