"""A frame inside a frame: information that starts with `}` is another frame's monitor text (APRS101 chapter 17)."""

from dataclasses import dataclass

from gateway.frames import tnc2
from gateway.frames.frame import Frame

MARK = b"}"
MAXIMUM_DEPTH = 4
"""How many frames inside one another are read; the network's own servers nest no deeper than one (common practice)."""


@dataclass(frozen=True, slots=True)
class Unwrapped:
    """A frame with all that it carried."""

    layers: tuple[Frame, ...]
    """The frame as heard, the frame inside it, and so on: at least one."""

    malformed: str | None = None
    """Why the last layer's third-party information could not be read, where it could not."""

    @property
    def innermost(self) -> Frame:
        """The last frame that could be read: the one that would go up."""
        return self.layers[-1]


def is_third_party(frame: Frame) -> bool:
    """Whether the information says that it is another frame."""
    return frame.information.startswith(MARK)


def unwrap(frame: Frame) -> Unwrapped:
    """Strip headers until no third-party frame is left (IS-Details)."""
    layers = [frame]
    while is_third_party(layers[-1]):
        if len(layers) > MAXIMUM_DEPTH:
            return Unwrapped(tuple(layers), f"more than {MAXIMUM_DEPTH} frames stand inside one another")
        header_text, colon, information = layers[-1].information[len(MARK) :].partition(b":")
        if not colon:
            return Unwrapped(tuple(layers), "the frame inside has no colon after its header")
        try:
            header = tnc2.read_header(header_text)
        except tnc2.HeaderError as error:
            return Unwrapped(tuple(layers), f"inside the frame {error}")
        layers.append(Frame(header, information))
    return Unwrapped(tuple(layers))
