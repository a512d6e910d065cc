"""What ends a member of a club. It needs no client of the engine, so that whoever starts a gateway can know of it."""


class LoginTakenError(Exception):
    """Another hub took the login of this one while it ran, or this one stood still for too long."""


class StreamLostError(Exception):
    """The stream is another than it was, or lost its end: what this hub knows is of messages that are no more."""
