"""The alerts raised lately, and what became of them."""

from typing import Any

from gateway.alerts.raised import MOST_RAISED, RaisedAlerts
from gateway.alerts.watch import LONGEST_WINDOW_MS, AlertWatch
from gateway.feed.heard_object import HeardPayload, encode
from gateway.feed.reader import ReportReader
from gateway.feed.schemas import Schema
from gateway.frames.heard import Moment
from gateway.groundwork.duration import HOUR_MS, MINUTE_MS
from tests.alerts.alerting import PLACE, written
from tests.judged_frames import NOON_MS, Post
from tests.payload_schemas import held_to
from tests.remembering import dumped, restore

ALERTS = (
    "{name: bay, area: {latitude: 58.6, longitude: -3.9167, radius: 5km}, again: 1h},"
    "{name: gone, silent: {source: QA1BCD, for: 1h}}, {name: test, when: {contains: test}}"
)
IN_THE_BAY = b"QA1BCD>APRS:!5836.00N/00355.00W>"
AWAY = b"QA1BCD>APRS:!5936.00N/00355.00W>"
EMERGENCY = b"QB2CDE>APRS:!5836.00N/00354.00W>!EMERGENCY!"


def watch() -> AlertWatch:
    return AlertWatch(written(ALERTS), PLACE, ReportReader(PLACE), Moment(0, NOON_MS))


def shown(watch: AlertWatch, post: Post) -> list[tuple[Any, ...]]:
    return [(one["alert"]["name"], one["holds"], one["times"], "over" in one) for one in watch.raised(post.now())]


def test_an_alert_holds_until_what_raised_it_is_over() -> None:
    watching, post = watch(), Post()
    watching.hear([post.hear(IN_THE_BAY)])
    assert shown(watching, post) == [("bay", True, 1, False)]
    post.wait(HOUR_MS)
    watching.hear([post.hear(IN_THE_BAY)])
    assert shown(watching, post) == [("bay", True, 2, False)]
    watching.hear([post.hear(AWAY)])
    post.wait(11 * MINUTE_MS)
    watching.over(post.now())
    assert shown(watching, post) == [("bay", False, 2, True)]
    assert watching.raised(post.now())[0]["age_s"] == 660


def test_what_does_not_last_is_over_at_once() -> None:
    watching, post = watch(), Post()
    watching.hear([post.hear(b"QC3DEF>APRS:>test")])
    assert shown(watching, post) == [("test", False, 1, False)]


def test_an_emergency_that_holds_comes_first_and_is_over_after_an_hour() -> None:
    watching, post = watch(), Post()
    watching.hear([post.hear(EMERGENCY)])
    watching.hear([post.hear(b"QC3DEF>APRS:>test")])
    assert [name for name, *_ in shown(watching, post)] == ["emergency", "test", "bay"]
    post.wait(LONGEST_WINDOW_MS)
    watching.over(post.now())
    assert ("emergency", False, 1, True) in shown(watching, post)


def test_a_silence_is_over_when_its_station_is_heard() -> None:
    watching, post = watch(), Post()
    post.wait(HOUR_MS)
    watching.tick(post.now())
    assert shown(watching, post) == [("gone", True, 1, False)]
    watching.hear([post.hear(AWAY)])
    watching.tick(post.now())
    watching.over(post.now())
    assert shown(watching, post) == [("gone", False, 1, True)]


def test_alerts_and_their_numbers_outlive_a_restart() -> None:
    before, after, post = watch(), watch(), Post()
    before.hear([post.hear(IN_THE_BAY)])
    before.hear([post.hear(EMERGENCY)])
    restore(after, dumped(before))
    assert after.raised(post.now()) == before.raised(post.now())
    after.hear([post.hear(b"QC3DEF>APRS:>test")])
    assert max(one["number"] for one in after.raised(post.now())) == 4


def test_an_alert_that_was_raised_after_the_last_dump_is_known_from_its_frame() -> None:
    after, post = watch(), Post()
    after.recall(HeardPayload(post.hear(IN_THE_BAY)))
    assert shown(after, post) == [("bay", True, 1, False)]


def test_what_is_kept_is_bounded_and_every_alert_is_as_it_was_told() -> None:
    log, post = RaisedAlerts(), Post()
    watching = watch()
    for number in range(2 * MOST_RAISED):
        for alert in watching.hear([post.hear(b"QC%dDEF>APRS:>test" % number)]):
            log.note(alert)
        post.wait(MINUTE_MS)
    raised = log.to_objects(post.now())
    assert len(raised) == MOST_RAISED
    assert raised[0]["number"] > raised[-1]["number"]
    for one in raised:
        held_to(Schema.ALERT, encode(one["alert"]))


def test_what_nobody_watches_any_more_is_over_after_a_restart() -> None:
    before, post = watch(), Post()
    before.hear([post.hear(IN_THE_BAY)])
    after = AlertWatch([], PLACE, ReportReader(PLACE), Moment(0, NOON_MS))
    restore(after, dumped(before))
    assert shown(after, post) == [("bay", False, 1, False)]
