"""What a post makes of the moments at which its frames were heard."""

import pytest

pytest.importorskip("nats")

from gateway.club.engine import EngineOptions
from gateway.club.hand_over import End
from gateway.club.post import PostOptions
from gateway.club.post_member import PostMember
from gateway.club.steady import steady_ms
from gateway.club.subjects import Subjects
from gateway.frames import tnc2
from gateway.frames.heard import Moment, Run

FRESHNESS_MS = 10_000


def test_what_waited_while_the_post_stood_still_is_as_old_as_it_is() -> None:
    run = Run()
    engine = EngineOptions(("nats://127.0.0.1:4222",), "headland")
    post = PostMember(PostOptions(engine, Subjects("wrackholm"), "headland", FRESHNESS_MS), run)
    now = run.now()
    for age_ms in (FRESHNESS_MS + 1000, FRESHNESS_MS - 5000, 0):
        moment = Moment(now.elapsed_ms - age_ms, now.time_ms - age_ms)
        post.offer([run.hear(moment, "vhf", 0, tnc2.read(b"QA1BCD-9>APRS:>%d" % age_ms))])
    post.hand_over.expire(steady_ms())
    assert post.hand_over.counts[End.LATE] == 1
    assert post.hand_over.waiting == 2
