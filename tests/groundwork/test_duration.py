import pytest

from gateway.groundwork.duration import in_words


@pytest.mark.parametrize(
    ("milliseconds", "words"),
    [
        (0, "0 s"),
        (999, "0 s"),
        (45_000, "45 s"),
        (60_000, "1 min"),
        (95_000, "1 min 35 s"),
        (7_200_000, "2 h"),
        (7_259_000, "2 h"),
        (7_500_000, "2 h 5 min"),
        (97_200_000, "1 d 3 h"),
        (-7_500_000, "2 h 5 min"),
    ],
)
def test_a_length_of_time_is_said_in_its_two_greatest_units(milliseconds: int, words: str) -> None:
    assert in_words(milliseconds) == words
