"""The files that TLS needs, and what is wrong with them, said in one way by all who need them."""

import ssl
from pathlib import Path


class CertificateError(OSError):
    """What TLS needs cannot be used; `strerror` says why."""

    def __init__(self, why: str) -> None:
        super().__init__(0, why)
        self.strerror: str = why


def take_certificate(context: ssl.SSLContext, certificate: Path, key: Path | None) -> None:
    """Load our own certificate from PEM files; without a `key` it stands beside it. Raises `CertificateError`."""
    try:
        # Without a password callback OpenSSL asks on the terminal, which would stop the whole process.
        context.load_cert_chain(certificate, key, password=lambda: "")
    except (OSError, ssl.SSLError) as error:
        files = " and ".join(str(path) for path in (certificate, key) if path)
        what_to_do = "give a PEM certificate and its key, unencrypted"
        raise CertificateError(f"{files}: {why_unusable(error)}: {what_to_do}") from None


def why_unusable(error: OSError | ssl.SSLError) -> str:
    """Why a file of TLS could not be taken."""
    if isinstance(error, ssl.SSLError):
        return "not what TLS can use"
    return error.strerror or "cannot be read"
