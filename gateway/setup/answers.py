"""What was answered so far. Secrets hide themselves wherever they are shown."""

from dataclasses import dataclass
from enum import StrEnum

from pydantic import SecretStr

from gateway.frames.heard import Place


class Page(StrEnum):
    """Who may open the page."""

    HERE = "here"
    """Browsers of this computer alone."""

    HOUSE = "house"
    """Every computer and phone of the house that has the token."""

    NO = "no"


@dataclass(frozen=True, slots=True)
class GivenAnswers:
    """All answers, each at its default until it is given."""

    callsign: str = ""
    listens_only: bool = False
    """The operator has no callsign, or wants to send nothing: there is no uplink."""

    place: Place | None = None
    locator: str | None = None
    """The place as a locator, where it was given as one."""

    receivers: tuple[str, ...] = ()
    """Addresses."""

    servers: tuple[str, ...] = ()
    passcode: SecretStr | None = None
    broker: str | None = None
    broker_user: str | None = None
    broker_password: SecretStr | None = None
    page: Page = Page.HERE
    journal: bool = True
    service: bool = False

    @property
    def receiver_names(self) -> tuple[str, ...]:
        """A name for each receiver."""
        if len(self.receivers) == 1:
            return ("radio",)
        return tuple(f"radio-{number}" for number in range(1, len(self.receivers) + 1))
