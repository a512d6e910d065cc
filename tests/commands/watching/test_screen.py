"""What an operator sees of a gateway, by example, and that no window is too small and no text too wild for it."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.alerts.alert import AlertKind, alert_object, emergency_alert
from gateway.commands.watching import words
from gateway.commands.watching.columns import width
from gateway.commands.watching.face import Face, keys_in, quits, turned
from gateway.commands.watching.listing import Listing
from gateway.commands.watching.published import Answering, NoAnswer, event_of
from gateway.commands.watching.screen import Emphasis, ScreenLine, screen
from gateway.commands.watching.watched import ALERTS, EMERGENCIES, FRAMES, Watched
from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import heard_object
from gateway.feed.reader import ReportReader
from gateway.frames.plain import rfc3339
from gateway.groundwork.part import Part, PartKind, State, shed
from gateway.judge import conditions
from gateway.judge.verdict import Judged, Reason
from tests.judged_frames import NOON_MS, Post

NOON = datetime(2026, 6, 6, 12, tzinfo=UTC)
READER = ReportReader(conditions.Post("QX1GAT-10", 58.6, -3.9167))
EMERGENCY = b"QA1BCD-9>583VPP,QD1AA*:`yRzmI)s/DRILL man overboard"
"""58 36.00 N, west, message bits 000: digits for the first three letters (APRS101 chapter 10)."""


class Scene:
    """A post, and a watch that is told of what it hears."""

    def __init__(self) -> None:
        self.post = Post()
        self.watched = Watched("QX1GAT-10", "http://127.0.0.1:7583")

    def hear(self, line: bytes, reason: Reason | None = None, rule: str | None = None) -> Judged:
        judged = self.post.hear(line, reason=reason, rule=rule)
        self.tell("heard", heard_object(judged, READER(judged)))
        return judged

    def tell(self, kind: str, plain: dict[str, Any]) -> None:
        self.watched.take(event_of(kind, plain), NOON)

    def tell_health(self, *parts: Part, counts: Counts | None = None) -> None:
        counts = counts or Counts(5, 3, {Reason.DUPLICATE: 2}, {"sent": 1, "late": 1}, waiting=1)
        figures = {part: shed({"heard": 7, "lines": 0}) for part in parts[:1]}
        activity = {"frames_per_minute": 14, "stations_last_hour": 23, "last_heard": rfc3339(NOON_MS)}
        health = Health("0f1e", NOON_MS, parts, counts, figures, {"activity": activity})
        self.tell("health", health.to_object())

    def answer(self) -> None:
        self.watched.take(Answering(), NOON)

    def lines(
        self, columns: int = 80, rows: int = 24, after: timedelta = timedelta(), face: Face = Face.OVERVIEW
    ) -> list[ScreenLine]:
        return screen(self.watched, NOON + after, columns, rows, face)

    def text(
        self, columns: int = 80, rows: int = 24, after: timedelta = timedelta(), face: Face = Face.OVERVIEW
    ) -> str:
        return "\n".join(line.text for line in self.lines(columns, rows, after, face))

    def flowing(self, face: Face = Face.OVERVIEW) -> str:
        return self.text(face=face).replace("\n", " ")


OK_PARTS = (
    Part(PartKind.RECEIVER, "vhf", State.OK, NOON_MS - 60_000),
    Part(PartKind.POLICY, "policy", State.OK, NOON_MS - 86_400_000),
)
DOWN = Part(PartKind.UPLINK, "uplink", State.DOWN, NOON_MS, "no server answers", "can this computer reach the network?")


@pytest.fixture
def scene() -> Scene:
    return Scene()


CLUB = {
    "holds": False,
    "holder": "QX2HUB-10",
    "posts": [
        {
            "name": "headland",
            "last_word": "2026-06-06T11:59:58.000Z",
            "frames": 90,
            "frames_last_minute": 12,
            "alone": 7,
            "first": 41,
            "first_share": 0.456,
        }
    ],
}


def test_a_hub_shows_what_each_post_is_worth() -> None:
    scene = Scene()
    health = Health("0f1e", NOON_MS, [], Counts(0, 0, {}), watched={"club": CLUB}).to_object()
    scene.tell("health", health)
    scene.answer()
    text = scene.text(columns=120, rows=40, face=Face.PARTS)
    assert "the club: QX2HUB-10 sends" in text
    assert (
        "post headland: 12 frames in the last minute, 7 heard by it alone, 46% heard first, last word 2 s ago" in text
    )


def test_a_whole_screen(scene: Scene) -> None:
    scene.answer()
    scene.tell_health(*OK_PARTS, DOWN)
    scene.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>under way")
    scene.hear(b"QA1BCD-9>APRS,QD1AA*:!5836.00N/00355.00W>under way", Reason.DUPLICATE)
    scene.hear(b"QZ9BCD>APRS:on the bench", Reason.RULE, "bench-beacon")
    assert scene.text(after=timedelta(seconds=5), rows=17) == (
        "Stile QX1GAT-10: down   http://127.0.0.1:7583                       12:00:05 UTC\n"
        "Not a distress watch: an emergency is shown first, and that promises nothing.\n"
        "antenna  hearing        14 a minute\n"
        "decoder  connected      5 s ago\n"
        "uplink   away           50% sent\n"
        "    no server answers; can this computer reach the network?\n"
        "house    all well       0 readers\n"
        "Stations, the one heard last first (2):\n"
        "QZ9BCD             direct 5 s on the bench\n"
        "QA1BCD-9 car 2 m E direct 5 s under way\n"
        "The last frames, the newest first (times in UTC):\n"
        "12:00:00 vhf QZ9BCD    keep: rule bench-beacon on the bench\n"
        "12:00:00 vhf QA1BCD-9  keep: duplicate         !5836.00N/00355.00W>under way\n"
        "12:00:00 vhf QA1BCD-9  forward                 !5836.00N/00355.00W>under way\n"
        "\n\n"
        "q quits   p parts and counts   ? helps"
    )


def test_every_part_and_what_it_counts(scene: Scene) -> None:
    scene.answer()
    scene.tell_health(*OK_PARTS, DOWN)
    assert scene.text(rows=14, face=Face.PARTS) == (
        "Stile QX1GAT-10: down   http://127.0.0.1:7583                       12:00:00 UTC\n"
        "Not a distress watch: an emergency is shown first, and that promises nothing.\n"
        "uplink       down     since 12:00:00\n"
        "    no server answers; can this computer reach the network?\n"
        "receiver vhf ok       since 11:59:00\n"
        "    shed heard 7\n"
        "policy       ok       since 2026-06-05 12:00\n"
        "heard 5 = forward 3 + keep 2\n"
        "keep 2 = duplicate 2\n"
        "forward 3 = sent 1 + late 1 + waiting 1\n"
        "14 frames in the last minute, 23 stations in the last hour, last 0 s ago\n"
        "shed, as it could not be told fast enough: vhf heard 7\n"
        "\n"
        "q quits   p parts and counts   ? helps"
    )


def test_what_the_tiles_and_the_keys_mean_is_told(scene: Scene) -> None:
    text = scene.flowing(Face.HELP)
    assert "q quits" in text
    for word in ("antenna:", "decoder:", "uplink:", "house:", *(f"{state}:" for state in State)):
        assert word in text


def test_while_there_is_no_answer_no_tile_claims_anything(scene: Scene) -> None:
    scene.answer()
    scene.tell_health(*OK_PARTS)
    scene.watched.take(NoAnswer("nothing listens at its address", "is it running?"), NOON)
    assert "antenna" not in scene.text()
    scene.answer()
    assert "antenna  hearing" in scene.text()


def test_a_station_is_told_by_its_last_place_whatever_it_says_now_and_a_copy_changes_nothing(scene: Scene) -> None:
    scene.hear(b"QA1BCD-9>APRS,QD1AA*:!5838.10N/00351.00Ws045/006Kittiwake")
    scene.post.wait(60_000)
    scene.hear(b"QA1BCD-9>APRS:>on the way home")
    scene.hear(b"QA1BCD-9>APRS,QD1BB*:>on the way home", Reason.DUPLICATE)
    (station,) = scene.watched.stations
    (line,) = words.station_table([station], NOON + timedelta(seconds=185))
    assert line == "QA1BCD-9 power boat 5.5 km NE direct 2 min on the way home"


def test_the_station_heard_last_stands_first_also_among_those_from_before(scene: Scene) -> None:
    scene.hear(b"QA1BCD-9>APRS:>first")
    scene.post.wait(1000)
    scene.hear(b"QB2CDE>APRS,QD1AA*:>second")
    older = scene.watched.stations[1].last
    scene.hear(b"QA1BCD-9>APRS:>third")
    scene.watched.remember(older)
    assert [(station.last.source, station.last.information) for station in scene.watched.stations] == [
        ("QA1BCD-9", ">third"),
        ("QB2CDE", ">second"),
    ]


def test_stations_and_frames_share_what_room_there_is(scene: Scene) -> None:
    scene.tell_health(*OK_PARTS, DOWN)
    for number in range(60):
        scene.hear(b"QA%dB>APRS:>moored" % number)
    text = scene.text(80, 24)
    assert "(the last 7 of 60):" in text
    assert text.count("forward >moored") == 7


@pytest.mark.parametrize(
    ("keys", "face"),
    [("p", Face.PARTS), ("pp", Face.OVERVIEW), ("?", Face.HELP), ("?p", Face.PARTS), ("P", Face.PARTS),
     ("x", Face.OVERVIEW), ("px", Face.PARTS)],
)  # fmt: skip
def test_a_key_shows_something_else_and_a_second_time_leads_back(keys: str, face: Face) -> None:
    seen = Face.OVERVIEW
    for key in keys_in(keys.encode()):
        seen = turned(seen, key)
    assert seen is face


@given(st.binary(max_size=64))
def test_no_octets_are_more_than_keys(octets: bytes) -> None:
    seen = Face.OVERVIEW
    for key in keys_in(octets):
        seen = turned(seen, key)


def test_an_arrow_is_no_key() -> None:
    assert list(keys_in(b"\x1bOq")) == []
    assert not any(quits(key) for key in keys_in(b"\x1b[A"))


def test_a_frame_that_went_up_is_shown_as_sent(scene: Scene) -> None:
    judged = scene.hear(b"QA1BCD-9>APRS:>moored")
    sent = {
        **heard_object(judged),
        "line": "QA1BCD-9>APRS,qAO,QX1GAT-10:>moored",
        "sent_at": "2026-06-06T12:00:00.001Z",
    }
    scene.tell("forwarded", sent)
    assert "QA1BCD-9  sent >moored" in scene.text()
    assert len(scene.watched.frames) == 1


def test_counts_that_do_not_add_up_are_said_not_to(scene: Scene) -> None:
    scene.tell_health(counts=Counts(6, 3, {Reason.DUPLICATE: 2}))
    for face in (Face.OVERVIEW, Face.PARTS):
        assert "heard 6 = forward 3 + keep 2; DOES NOT ADD UP: 1 not accounted for" in scene.flowing(face)


def test_a_gateway_that_does_not_answer_is_said_first_and_since_when(scene: Scene) -> None:
    scene.answer()
    scene.tell_health(*OK_PARTS)
    scene.watched.take(NoAnswer("nothing listens at its address", "is it running?"), NOON)
    scene.watched.take(NoAnswer("nothing listens at its address", "is it running?"), NOON + timedelta(seconds=9))
    lines = scene.lines()
    assert lines[0].text.startswith("Stile QX1GAT-10: NO ANSWER")
    assert lines[0].emphasis is Emphasis.URGENT
    assert "does not answer since 12:00:00: nothing listens at its address; is it running?" in scene.flowing()
    assert "What stands below is from before." in scene.text()
    scene.answer()
    assert "answer" not in scene.text()


def test_before_it_was_asked_nothing_is_claimed(scene: Scene) -> None:
    assert scene.lines()[0].text.startswith("Stile QX1GAT-10: asking")


def test_an_emergency_stands_before_everything_and_its_copy_is_no_other_one(scene: Scene) -> None:
    scene.tell_health(*OK_PARTS, DOWN)
    judged = scene.post.hear(EMERGENCY)
    plain = heard_object(judged, READER(judged))
    assert plain["report"]["emergency"] is True
    scene.tell("alert", emergency_alert(judged, plain))
    scene.tell("heard", plain)
    scene.hear(EMERGENCY, Reason.DUPLICATE)
    lines = scene.lines(after=timedelta(seconds=65))
    assert lines[1].text == words.CAUTION
    assert lines[2].text.startswith("EMERGENCY QA1BCD-9 at 12:00:00, 1 min 5 s ago, latitude 58.6")
    assert lines[2].emphasis is Emphasis.URGENT
    assert sum("EMERGENCY" in line.text for line in lines) == 1
    assert "DRILL man overboard" in scene.flowing()


def test_alerts_come_next_the_newest_first(scene: Scene) -> None:
    scene.tell_health(*OK_PARTS)
    judged = scene.post.hear(b"QA1BCD-9>APRS:>near")
    near = alert_object(
        AlertKind.MATCH, "launch-near", judged.heard.moment, "it is near", since_ms=NOON_MS, heard=heard_object(judged)
    )
    silent = alert_object(
        AlertKind.SILENT, "buoy", scene.post.now(), "it is silent", since_ms=NOON_MS, source="QA1BUOY"
    )
    scene.tell("alert", near)
    scene.tell("alert", silent)
    texts = [line.text for line in scene.lines()]
    assert texts[2:4] == [
        "ALERT buoy at 12:00:00: it is silent (QA1BUOY)",
        "ALERT launch-near at 12:00:00: it is near (QA1BCD-9)",
    ]


def test_an_alert_that_is_told_again_stands_there_once(scene: Scene) -> None:
    for what in ("it is silent", "it is silent still"):
        alert = alert_object(
            AlertKind.SILENT, "buoy", scene.post.now(), what, since_ms=NOON_MS, repeated=True, source="QA1BUOY"
        )
        scene.tell("alert", alert)
    assert [alert.what for alert in scene.watched.alerts] == ["it is silent still"]


def test_what_is_missed_before_it_came_is_not_said_and_afterwards_is(scene: Scene) -> None:
    scene.tell("missed", {"because": "behind", "count": 900})
    scene.hear(b"QA1BCD-9>APRS:>moored")
    assert "not shown" not in scene.text()
    scene.tell("missed", {"because": "behind", "count": 7})
    assert "7 events are not shown" in scene.text()


def test_in_a_low_window_parts_that_are_well_share_a_line(scene: Scene) -> None:
    scene.tell_health(*OK_PARTS, DOWN)
    for _ in range(9):
        scene.hear(b"QA1BCD-9>APRS:>moored")
    text = scene.text(80, 11, face=Face.PARTS)
    assert "ok: receiver vhf, policy" in text
    assert "uplink       down" in text


def test_everything_remembered_is_bounded(scene: Scene) -> None:
    for number in range(FRAMES + 50):
        judged = scene.hear(EMERGENCY.replace(b"QA1BCD-9", b"QA%d" % number))
        plain = heard_object(judged, READER(judged))
        scene.tell("alert", alert_object(AlertKind.MATCH, "all", judged.heard.moment, "heard", heard=plain))
    watched = scene.watched
    assert (len(watched.frames), len(watched.alerts), len(watched.emergencies)) == (FRAMES, ALERTS, EMERGENCIES)
    assert f"and {EMERGENCIES - 3} more stations in an emergency" in scene.text()
    assert f"and {ALERTS - 3} more alerts" in scene.text()


HOSTILE = st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=200)


@given(HOSTILE, HOSTILE, st.integers(1, 200), st.integers(1, 60), st.sampled_from(Face))
def test_any_text_in_any_window_fits_it_and_is_printable(
    source: str, said: str, columns: int, rows: int, face: Face
) -> None:
    scene = Scene()
    scene.tell_health(*OK_PARTS, DOWN)
    judged = scene.hear(EMERGENCY)
    wild = {**heard_object(judged, READER(judged)), "source": source, "information": said, "sequence": 99}
    wild["report"] = {**wild["report"], "comment": said}
    scene.tell("heard", wild)
    scene.tell("alert", alert_object(AlertKind.MATCH, "near", judged.heard.moment, said, heard=wild))
    lines = scene.lines(columns, rows, face=face)
    assert len(lines) == rows
    assert all(width(line.text) <= columns for line in lines)
    assert all(line.text.isprintable() for line in lines)


@given(HOSTILE)
def test_a_listed_line_stays_one_line(said: str) -> None:
    judged = Post().hear(b"QA1BCD-9>APRS:x")
    event = event_of("heard", {**heard_object(judged), "information": said})
    (line,) = Listing().take(event, NOON)
    assert line.isprintable()


def test_a_listing_says_of_parts_only_what_has_changed() -> None:
    def health(*parts: Part) -> dict[str, Any]:
        return Health("0f1e", NOON_MS, parts, Counts(0, 0, {})).to_object()

    listing = Listing()
    assert len([*listing.take(event_of("health", health(*OK_PARTS)), NOON)]) == 2
    assert [*listing.take(event_of("health", health(*OK_PARTS)), NOON)] == []
    assert [*listing.take(event_of("health", health(*OK_PARTS, DOWN)), NOON)] == [
        "uplink       down     since 12:00:00: no server answers; can this computer reach the network?"
    ]


def test_a_listing_says_once_that_nobody_answers() -> None:
    listing = Listing()
    silent = NoAnswer("nothing listens at its address", "is it running?")
    assert "DOES NOT ANSWER: nothing listens" in next(iter(listing.take(silent, NOON)))
    assert [*listing.take(silent, NOON)] == []
    assert [*listing.take(Answering(), NOON)] == ["12:00:00 the gateway answers"]
    assert len([*listing.take(silent, NOON)]) == 1
