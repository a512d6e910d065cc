"""What is told of a document that is refused, line by line."""

from collections.abc import Callable

import pytest

from gateway.documents import DocumentError, parse

FILE = "house.yaml"


def told(act: Callable[[], object]) -> list[str]:
    """The problems of a document that `act` refuses."""
    with pytest.raises(DocumentError) as refused:
        act()
    assert str(refused.value) == "\n".join(map(str, refused.value.problems))
    return str(refused.value).splitlines()


def told_of(text: str) -> list[str]:
    """The problems of a text that is refused as it is read."""
    return told(lambda: parse(text, FILE))
