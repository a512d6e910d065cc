"""What a hub that starts must know: where in the stream, by which policy, and all that the judge knows. No I/O."""

import zlib
from typing import Annotated

from pydantic import Field, ValidationError

from gateway.club.order import StreamOrder
from gateway.documents.values import Section
from gateway.judge.state import JudgeState

NAME = "judge"
FORM = 1
MAXIMUM_OCTETS = 256 * 1024 * 1024
"""Expanded: a judge whose memories are all full has about a tenth of it."""

FAST = 1

Counted = Annotated[int, Field(ge=0, le=2**53 - 1)]


class SnapshotError(ValueError):
    """It is no snapshot that this hub can start from; the text is our own."""


class Snapshot(Section):
    """A judge's state behind one message of the stream."""

    form: int = FORM
    judge: int
    sequence: Counted
    stamp_ms: Counted
    elapsed_ms: Counted
    policy: str
    """The entry of the policy in force, as it stood in the stream."""

    state: JudgeState

    @property
    def order(self) -> StreamOrder:
        """Where a reader that starts from it stands."""
        return StreamOrder(self.sequence, self.stamp_ms, self.elapsed_ms)

    def to_octets(self) -> bytes:
        """What is kept. It takes tens of milliseconds where the judge knows much: call it in a thread."""
        return zlib.compress(self.model_dump_json().encode("utf-8"), FAST)


def read_snapshot(octets: bytes) -> Snapshot:
    """Read what is kept. Raises `SnapshotError`. Takes as long as writing it."""
    expander = zlib.decompressobj()
    try:
        text = expander.decompress(octets, MAXIMUM_OCTETS)
        if not expander.eof:
            raise SnapshotError("the snapshot is cut short, or longer than any can be")
        snapshot = Snapshot.model_validate_json(text)
    except zlib.error:
        raise SnapshotError("the snapshot is not compressed as ours are") from None
    except ValidationError:
        raise SnapshotError("the snapshot is of another form than ours") from None
    if snapshot.form != FORM:
        raise SnapshotError("the snapshot is of another form than ours")
    return snapshot
