"""`lines:`, `web:` and `journal:`: where programs and people of the house get it, and what is remembered on disk."""

from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from gateway.documents.values import Duration, Section, between, fits
from gateway.groundwork.duration import DAY_MS
from gateway.groundwork.loopback import is_loopback
from gateway.journal.options import FLUSH_MS, CaptureOptions, DiskPace, JournalOptions
from gateway.lines.options import LinesOptions
from gateway.settings.places import Listen, place_to_listen
from gateway.settings.secret import secret_path
from gateway.web.options import WebOptions

LINES_PORT = 7582
WEB_PORT = 7583
MOST_HOSTS = 64

_HOST = fits(r"[A-Za-z0-9._:-]{1,253}", "is no name of a host: write it without a scheme and a port, as post.example")


class LinesSettings(Section):
    """The text port: monitor text of everything heard, for programs that read it."""

    listen: Annotated[Listen, place_to_listen(LINES_PORT)] = Listen("127.0.0.1", LINES_PORT)

    def options(self) -> LinesOptions:
        """What the text port is made from."""
        return LinesOptions(*self.listen)


class WebSettings(Section):
    """The page, the API and the metrics."""

    token_file: Path | None = None
    listen: Annotated[Listen, place_to_listen(WEB_PORT)] = Listen("127.0.0.1", WEB_PORT)
    hosts: list[Annotated[str, AfterValidator(_HOST)]] = Field(default_factory=list, max_length=MOST_HOSTS)
    certificate: Path | None = None
    key: Path | None = None

    @field_validator("listen")
    @classmethod
    def _guarded(cls, place: Listen, info: ValidationInfo) -> Listen:
        if info.data.get("token_file", ...) is None and not is_loopback(place.host):
            raise ValueError(
                f"{place.host} can be reached from other computers: name a file with a secret in token_file,"
                " or listen on 127.0.0.1"
            )
        return place

    @field_validator("key")
    @classmethod
    def _with_a_certificate(cls, key: Path | None, info: ValidationInfo) -> Path | None:
        if key is not None and info.data.get("certificate", ...) is None:
            raise ValueError("a key goes with a certificate: give both, or both in one file as certificate")
        return key

    def options(self, callsign: str, folder: Path, token: str | None) -> WebOptions:
        """What the web is made from; `folder` is where paths start."""
        certificate = folder / self.certificate if self.certificate else None
        key = secret_path(folder, self.key) if self.key else None
        return WebOptions(callsign, self.listen.host, self.listen.port, token, tuple(self.hosts), certificate, key)


def _a_file(path: Path) -> Path:
    if path.name in {"", ".."}:
        raise ValueError(f"{str(path)!r} names no file: write it as stile.db")
    return path


class JournalSettings(Section):
    """What is remembered on disk."""

    path: Annotated[Path, AfterValidator(_a_file)]
    keep: Annotated[Duration, between("1h", "3660d")] = 30 * DAY_MS
    captures: Path | None = None
    """A folder for captures, beside the journal; none are written if left out."""

    flush: Annotated[Duration, between("1s", "15m")] = FLUSH_MS
    """What a loss of power may take: what was heard in that time before it."""

    def options(self, folder: Path) -> JournalOptions:
        """What the journal is made from; `folder` is where paths start."""
        return JournalOptions(folder / self.path, self.keep, pace=self._pace)

    def capture_options(self, folder: Path) -> CaptureOptions | None:
        """What the captures are made from; None where none are wanted."""
        return None if self.captures is None else CaptureOptions(folder / self.captures, pace=self._pace)

    @property
    def _pace(self) -> DiskPace:
        return DiskPace(settle=self.flush / 1000)
