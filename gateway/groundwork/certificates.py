"""What is wrong with the files that TLS needs, said in one way by whoever reads them and whoever listens with them."""


class CertificateError(OSError):
    """What TLS needs cannot be used; `strerror` says why."""

    def __init__(self, why: str) -> None:
        super().__init__(0, why)
        self.strerror: str = why
