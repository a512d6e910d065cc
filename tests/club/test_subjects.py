import pytest

from gateway.club.subjects import Spoken, Subjects, Word, is_member_name, member_name

CLUB = Subjects("wrackholm")


def test_every_subject_reads_back_as_itself() -> None:
    assert CLUB.read(CLUB.heard("headland")) == Spoken(Word.HEARD, "headland")
    assert CLUB.read(CLUB.post_beat("headland")) == Spoken(Word.POST_BEAT, "headland")
    assert CLUB.read(CLUB.hub_beat("qx1gat-10")) == Spoken(Word.HUB_BEAT, "qx1gat-10")
    assert CLUB.read(CLUB.policy) == Spoken(Word.POLICY)


@pytest.mark.parametrize(
    "subject",
    [
        "",
        "stile.wrackholm",
        "stile.elsewhere.policy",
        "stile.wrackholm.post.headland.lease",
        "stile.wrackholm.post.Head land.heard",
        "stile.wrackholm.post..heard",
        "stile.wrackholm.post.headland.heard.more",
        "stile.elsewhere.post.headland.heard",
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
