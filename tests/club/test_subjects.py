import pytest

from gateway.club.slices import ALL, SLICES, Slices
from gateway.club.subjects import Spoken, Subjects, Word, is_member_name, member_name

CLUB = Subjects("wrackholm")


def test_every_subject_reads_back_as_itself() -> None:
    for number in range(SLICES):
        assert CLUB.read(CLUB.heard("headland", number)) == Spoken(Word.HEARD, "headland", number)
    assert CLUB.read(CLUB.post_beat("headland")) == Spoken(Word.POST_BEAT, "headland")
    assert CLUB.read(CLUB.hub_beat("qx1gat-10")) == Spoken(Word.HUB_BEAT, "qx1gat-10")
    assert CLUB.read(CLUB.policy) == Spoken(Word.POLICY)


def test_a_post_of_an_older_version_tells_no_slice() -> None:
    assert CLUB.read("stile.wrackholm.post.headland.heard") == Spoken(Word.HEARD, "headland", None)


@pytest.mark.parametrize(
    "subject",
    [
        "",
        "stile.wrackholm",
        "stile.elsewhere.policy",
        "stile.wrackholm.post.headland.lease",
        "stile.wrackholm.post.Head land.heard.0",
        "stile.wrackholm.post..heard.0",
        "stile.wrackholm.post.headland.heard.16",
        "stile.wrackholm.post.headland.heard.01",
        "stile.wrackholm.post.headland.heard.0.more",
        "stile.elsewhere.post.headland.heard.0",
    ],
)
def test_what_is_nothing_of_the_club_is_told_so(subject: str) -> None:
    assert CLUB.read(subject) is None


def test_a_name_is_one_word_of_a_subject() -> None:
    assert is_member_name("headland-2")
    assert not any(map(is_member_name, ("", "Headland", "head.land", "head land", "*", ">", "x" * 33, "a\n")))
    assert is_member_name(member_name("QX1GAT-10"))
    with pytest.raises(ValueError, match="no name of a club"):
        Subjects("Wrack Holm")


def test_everything_of_a_club_lies_under_one_subject() -> None:
    assert CLUB.everything == "stile.wrackholm.>"
    assert CLUB.stream == "stile-wrackholm"
    assert len({CLUB.stream, CLUB.keys, CLUB.snapshots}) == 3


def test_a_hub_of_some_slices_is_told_their_frames_and_all_beats_and_policies() -> None:
    assert CLUB.taken_by(Slices.of([7, 2])) == [
        "stile.wrackholm.post.*.heard.2",
        "stile.wrackholm.post.*.heard.7",
        "stile.wrackholm.post.*.beat",
        "stile.wrackholm.hub.*.beat",
        "stile.wrackholm.policy",
    ]


def test_a_hub_of_all_slices_is_told_everything() -> None:
    assert CLUB.taken_by(ALL) == []
