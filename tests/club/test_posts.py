from gateway.club.posts import COPIES_MS, Posts
from gateway.judge.verdict import Judged
from tests.judged_frames import Post


def frame(text: bytes) -> Judged:
    return Post().hear(b"QA1BCD>APRS:" + text)


def test_the_first_to_hand_on_is_told_and_what_one_alone_heard() -> None:
    posts = Posts()
    posts.heard("headland", frame(b">one"), 1_000_000)
    posts.heard("harbour", frame(b">one "), 1_000_400)
    posts.heard("harbour", frame(b">two"), 1_001_000)
    posts.heard("harbour", frame(b">two"), 1_002_000)
    for later in (1, 2):
        posts.heard("headland", None, 1_000_000 + later * COPIES_MS)
        posts.heard("headland", frame(b">%d" % later), 1_000_000 + later * COPIES_MS)
    headland, harbour = posts.records()["headland"], posts.records()["harbour"]
    assert (headland.first, harbour.first) == (3, 1)
    assert (headland.alone, harbour.alone) == (0, 1)
    assert posts.transmissions == 4


def test_a_beat_is_a_last_word_and_nothing_heard() -> None:
    posts = Posts()
    posts.spoke("headland", 1_780_747_200_000)
    (plain,) = posts.to_objects(1_780_747_201_000)
    assert plain["last_word"] == "2026-06-06T12:00:00.000Z"
    assert "last_heard" not in plain
    assert plain["first_share"] == 0


def test_frames_of_the_last_minute_are_counted_across_the_turn_of_the_minute() -> None:
    posts = Posts()
    for second in range(60):
        posts.heard("headland", frame(b">%d" % second), 60_000_000 + second * 1000)
    assert posts.to_objects(60_059_000)[0]["frames_last_minute"] == 60
    assert posts.to_objects(60_090_000)[0]["frames_last_minute"] == 30
    assert posts.to_objects(60_300_000)[0]["frames_last_minute"] == 0
