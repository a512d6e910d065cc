from gateway.feed.heard_object import HeardPayload
from gateway.frames.network_line import network_line, route
from gateway.judge.verdict import Reason
from gateway.watches.emergencies import MAXIMUM_SOURCES, Emergencies
from tests.judged_frames import Post

EMERGENCY = b'QA1BCD-9>332564:`(_fn"Oj/'  # ours, after APRS101 chapter 10: message bits 000
LINE = b'QA1BCD-9>332564,qAO,QX1GAT-10:`(_fn"Oj/\r\n'


def heard(*frames: tuple[bytes, Reason | None]) -> Emergencies:
    post, emergencies = Post(), Emergencies()
    for text, reason in frames:
        judged = post.hear(text, reason=reason)
        assert judged.innermost is not None
        line = b"" if reason else network_line(judged.innermost, route("QX1GAT-10"))
        emergencies.hear(HeardPayload(judged, line=line))
    return emergencies


def test_every_emergency_counts_whatever_became_of_it_but_for_copies() -> None:
    emergencies = heard(
        (EMERGENCY, None), (EMERGENCY, Reason.DUPLICATE), (EMERGENCY, Reason.ASKED_NOT_TO_GATE), (b"Q>A:>calm", None)
    )
    assert emergencies.heard == 2


def test_what_those_that_go_up_take_past_the_rates_is_told_by_source() -> None:
    other = b"QD1AA>APRS:}" + EMERGENCY.replace(b"QA1BCD-9", b"QB2CDE")
    taken = heard((EMERGENCY, None), (EMERGENCY, None), (other, None), (EMERGENCY, Reason.INTERNET_ORIGIN)).past_rates()
    assert taken == {
        "frames": 3,
        "octets": 3 * len(LINE) - 2,
        "by_source": {
            "QA1BCD-9": {"frames": 2, "octets": 2 * len(LINE)},
            "QB2CDE": {"frames": 1, "octets": len(LINE) - 2},
        },
        "others": {"frames": 0, "octets": 0},
    }


def test_sources_beyond_the_bound_are_one_sum_and_nothing_is_lost() -> None:
    calls = [b"QA%03dX" % number for number in range(MAXIMUM_SOURCES + 30)]
    taken = heard(*((EMERGENCY.replace(b"QA1BCD-9", call), None) for call in [*calls, calls[0]])).past_rates()
    assert len(taken["by_source"]) == MAXIMUM_SOURCES
    assert taken["by_source"]["QA000X"]["frames"] == 2
    assert taken["others"]["frames"] == 30
    assert (taken["frames"], taken["octets"]) == (MAXIMUM_SOURCES + 31, (MAXIMUM_SOURCES + 31) * (len(LINE) - 2))
