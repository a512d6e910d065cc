from gateway.judge import duplicates
from gateway.judge.duplicates import RecentForwards
from gateway.judge.verdict import Reason
from tests.judge.listening import Listening

MOORED = b"QA1BCD-9>APRS:!5836.00N/00355.00W>moored"
BY_REPEATER = b"QA1BCD-9>APRS,QD1AA*,WIDE2-1:!5836.00N/00355.00W>moored"


def test_the_copy_heard_first_is_the_one_that_goes() -> None:
    post = Listening()
    assert post.hear(BY_REPEATER, at=0).forward
    assert post.hear(MOORED, at=1).verdict.reason is Reason.DUPLICATE


def test_a_copy_within_thirty_seconds_is_known_whatever_its_path() -> None:
    # IS-Server: same source, destination and information within 30 s, whatever the path.
    post = Listening()
    assert post.hear(MOORED, at=0).forward
    assert post.hear(BY_REPEATER, at=29.999).verdict.reason is Reason.DUPLICATE
    assert post.hear(BY_REPEATER, at=30).forward


def test_later_copies_do_not_extend_the_window() -> None:
    post = Listening()
    post.hear(MOORED, at=0)
    assert [post.hear(MOORED, at=second).forward for second in (10, 20, 29, 30, 45, 59, 60)] == [
        False, False, False, True, False, False, True,
    ]  # fmt: skip


def test_all_receivers_share_one_memory() -> None:
    post = Listening()
    assert post.hear(MOORED, at=0, receiver="vhf").forward
    assert post.hear(MOORED, at=1, receiver="hf").verdict.reason is Reason.DUPLICATE


def test_spaces_at_the_end_make_no_new_frame_and_spaces_elsewhere_do() -> None:
    # Our choice: to the network they do make a new frame, so the first to come goes up with its own.
    post = Listening()
    assert post.hear(MOORED, at=0).forward
    assert post.hear(MOORED + b"   ", at=1).verdict.reason is Reason.DUPLICATE
    assert post.hear(MOORED.replace(b"moored", b" moored"), at=2).forward


def test_only_spaces_are_lost_on_the_way_no_other_white_space() -> None:
    post = Listening()
    for ending in (b"", b"\t", b"\x0b", b"\x0c", b"\x00"):
        assert post.hear(MOORED + ending, at=1).forward, ending
    assert post.hear(MOORED + b"\t  ", at=2).verdict.reason is Reason.DUPLICATE


def test_another_source_destination_case_or_octet_makes_another_frame() -> None:
    post = Listening()
    for line in (
        MOORED,
        MOORED.replace(b"QA1BCD-9", b"QA1BCD-8"),
        MOORED.replace(b"APRS", b"APZ001"),
        MOORED.replace(b"moored", b"Moored"),
        MOORED + b"\xff",
    ):
        assert post.hear(line, at=1).forward


def test_what_stands_after_the_first_line_end_makes_no_new_frame() -> None:
    post = Listening()
    assert post.hear(MOORED, at=0).forward
    assert post.hear(MOORED + b"\rtail", at=1).verdict.reason is Reason.DUPLICATE


def test_a_third_party_copy_is_known_by_the_frame_inside() -> None:
    post = Listening()
    assert post.hear(MOORED, at=0).forward
    assert post.hear(b"QD1AA>APRS:}" + MOORED, at=1).verdict.reason is Reason.DUPLICATE


def test_a_frame_that_was_kept_is_not_remembered() -> None:
    post = Listening("rules: [{name: hold, when: {receiver: hf}, then: keep}]")
    assert post.hear(MOORED, at=0, receiver="hf").verdict.reason is Reason.RULE
    assert post.hear(MOORED, at=1, receiver="vhf").forward


def test_the_window_is_the_policys() -> None:
    post = Listening("duplicates: {window: 5s}")
    assert [post.hear(MOORED, at=second).forward for second in (0, 4.9, 5)] == [True, False, True]


def test_the_memory_is_bounded_whatever_is_heard() -> None:
    memory = RecentForwards(30_000)
    for number in range(duplicates.MAXIMUM_REMEMBERED * 2):
        memory.remember(b"%d" % number, 1)
        assert len(memory) <= duplicates.MAXIMUM_REMEMBERED
    assert memory.since(b"%d" % (duplicates.MAXIMUM_REMEMBERED * 2 - 1), 2) == 1


def test_the_memory_forgets_what_is_older_than_the_window_whenever_the_generations_turn() -> None:
    memory = RecentForwards(1000)
    for elapsed in range(0, 10_000, 7):
        memory.remember(b"%d" % elapsed, elapsed)
        for back in range(0, 1500, 70):
            then = elapsed - back // 7 * 7
            if then >= 0:
                assert memory.since(b"%d" % then, elapsed) == (elapsed - then if elapsed - then < 1000 else None)


def test_what_left_the_window_takes_no_room_for_long() -> None:
    memory = RecentForwards(1000)
    for number in range(100):
        memory.remember(b"%d" % number, 1000 * number)
        assert len(memory) <= 2


def test_the_memory_is_bounded_in_octets_too() -> None:
    memory = RecentForwards(30_000)
    for number in range(40_000):
        memory.remember(b"%0500d" % number, 1)
        assert len(memory) * 500 <= duplicates.MAXIMUM_OCTETS + 1000
    assert memory.since(b"%0500d" % 39_999, 2) == 1
    assert memory.since(b"%0500d" % (39_999 - duplicates.MAXIMUM_OCTETS // 2 // 500), 2) == 1


def test_what_is_handed_on_is_what_was_known_then_the_oldest_first() -> None:
    memory = RecentForwards(1000)
    for elapsed_ms in (1, 999, 1001, 1002):
        memory.remember(b"%d" % elapsed_ms, elapsed_ms)
    entries = memory.entries()
    assert next(entries) == (b"1", 1)
    for elapsed_ms in (1003, 2500, 4000):
        memory.remember(b"%d" % elapsed_ms, elapsed_ms)
    assert list(entries) == [(b"999", 999), (b"1001", 1001), (b"1002", 1002)]
    assert memory.newest_ms == 4000
    assert list(RecentForwards(1000).entries()) == []
    assert RecentForwards(1000).newest_ms == 0
