"""The bounds that the documents name are those of the code."""

from pathlib import Path

import pytest

from gateway.alerts import raised
from gateway.bus import embedded_rights as rights
from gateway.bus import embedded_streams as streams
from gateway.bus.options import STATIONS_FORGET_MS, QueueLimits
from gateway.bus.packet_size import MAXIMUM_PACKET_OCTETS
from gateway.club import dispatch, hand_over, hubs, posts, subjects
from gateway.commands import what_if
from gateway.commands.watching import watched
from gateway.documents import reading
from gateway.frames import header, kiss, tnc2
from gateway.groundwork.duration import HOUR_MS
from gateway.history import station_past
from gateway.journal import options as journal_options
from gateway.journal import store, sums
from gateway.judge import conditions, duplicates, fairness, judge, policy, rates
from gateway.lines import options as lines_options
from gateway.lines.options import LinesOptions
from gateway.web import knowledge, small_screens
from gateway.web import options as web_options
from gateway.web.options import WebLimits
from tests.options import uplink_options

TREE = Path(__file__).parents[1]
KIB, MIB = 1024, 1024 * 1024
UPLINK = uplink_options(("127.0.0.1", 14580))
WEB, LINES, QUEUES = WebLimits(), LinesOptions("127.0.0.1", 0), QueueLimits()

SAID = {
    "gateway/web/README.md": [
        f"At most {WEB.connections:,} connections, and never more than half of the files",
        f"one chunk of {WEB.chunk_octets // KIB} kB",
        f"The last {WEB.heard:,} frames and {WEB.events:,} events are remembered",
        f"of about {WEB.memory_octets // MIB} MB each",
    ],
    "gateway/lines/README.md": [
        f"At most {LINES.clients} clients are served",
        f"is dropped once {LINES.client_octets // KIB} kB wait for it",
    ],
    "gateway/bus/README.md": [
        f"up to {QUEUES.heard} messages wait for `heard`, {QUEUES.lines} for `lines`",
        f"{QUEUES.forwarded} for `forwarded` and {QUEUES.alerts} for `alerts`",
        f"(`stations: {{forget: {STATIONS_FORGET_MS // HOUR_MS}h}}`)",
        f"takes packets of {MAXIMUM_PACKET_OCTETS // KIB} kB at most from the broker",
        f"The broker takes {streams.MOST_CLIENTS} clients at a time, {rights.MOST_SUBSCRIPTIONS} subscriptions of each",
        f"packets of {MAXIMUM_PACKET_OCTETS // KIB} kB, and retains {rights.MOST_RETAINED} topics of others",
        f"topics of others, {rights.MAXIMUM_RETAINED_OCTETS // MIB} MB in all",
        f"for one slow reader is held to {streams.MAXIMUM_UNREAD_OCTETS // MIB} MB",
        f"for all of them to {streams.MAXIMUM_UNREAD_IN_ALL // MIB} MB",
    ],
    "DEVELOPERS.md": [
        f"| {kiss.MAXIMUM_ESCAPED_OCTETS // KIB} kB (`frames/kiss.py`, `frames/tnc2.py`) |",
        f"| {tnc2.MAXIMUM_LINE_OCTETS // KIB} kB (`frames/kiss.py`, `frames/tnc2.py`) |",
        f"| {header.REMEMBERED_HEADERS}; {header.REMEMBERED_PATHS} each (`frames/header.py`) |",
        f"| {judge.MAXIMUM_STANDINGS} (`judge/judge.py`); {conditions.REMEMBERED_TRAITS} (`judge/conditions.py`) |",
        f"| {duplicates.MAXIMUM_REMEMBERED:,} (`judge/duplicates.py`) |",
        f"| {rates.MAXIMUM_BUCKETS:,} (`judge/rates.py`); {fairness.MAXIMUM_SOURCES} (`judge/fairness.py`) |",
        f"| {UPLINK.queue_bytes // KIB} KiB (`uplink/state.py`) |",
        f"| {streams.MOST_CLIENTS}, twenty a second; {streams.MAXIMUM_UNREAD_OCTETS // MIB} MiB each",
        f"and {streams.MAXIMUM_UNREAD_IN_ALL // MIB} MiB in all (`bus/embedded_streams.py`) |",
        f"| {rights.MOST_RETAINED} topics, {rights.MAXIMUM_RETAINED_OCTETS // MIB} MiB",
        f"| {journal_options.Limits().waiting} each (`journal/options.py`) |",
        f"| {store.MAXIMUM_HELD} (`journal/store.py`) |",
        f"| {WEB.events} and {WEB.heard}, {WEB.memory_octets // MIB} MiB each (`web/options.py`) |",
        f"| {WEB.connections} and {LINES.clients}, each with a bounded buffer (`web/options.py`, `lines/options.py`) |",
        f"| {knowledge.AT_A_TIME}; {station_past.MOST_FRAMES} (`web/knowledge.py`, `history/station_past.py`) |",
        f"one at a time, {what_if.MOST_SECONDS} s and {what_if.MOST_OCTETS // MIB} MiB of memory",
        f"| {raised.MOST_RAISED} (`alerts/raised.py`) |",
        f"| {sums.MOST_STATIONS_A_DAY}; 3660 days (`journal/sums.py`) |",
        f"| {small_screens.PICTURES}, of 1920 by 1200 pixels at most",
        f"| {watched.STATIONS}, {watched.FRAMES} and {watched.ALERTS} (`commands/watching/watched.py`) |",
        f"| {hand_over.MAXIMUM_WAITING_OCTETS // MIB} MiB, {hand_over.MAXIMUM_UNDER_WAY} of them under way",
        f"| {dispatch.LIMIT_OCTETS // MIB} MiB (`club/dispatch.py`) |",
        f"| {posts.MAXIMUM_POSTS}; {posts.MAXIMUM_FRAMES:,} (`club/posts.py`) |",
        f"| {hubs.MAXIMUM_HUBS} (`club/hubs.py`); {subjects.REMEMBERED_SUBJECTS:,} (`club/subjects.py`) |",
        f"{reading.MAXIMUM_VALUES:,} values, aliases counted each time, {policy.MOST_RULES:,} rules",
    ],
}


@pytest.mark.parametrize(
    ("document", "words"),
    [pytest.param(document, words, id=f"{document}: {words[:40]}") for document in SAID for words in SAID[document]],
)
def test_a_bound_that_a_document_names_is_that_of_the_code(document: str, words: str) -> None:
    text = (TREE / document).read_text("utf-8")
    assert " ".join(words.split()) in " ".join(text.split())


def test_half_of_the_files_are_the_webs_and_a_quarter_each_the_others() -> None:
    assert web_options.SHARE_OF_FILES == 1 / 2
    assert lines_options.SHARE_OF_FILES == streams.SHARE_OF_FILES == 1 / 4
    assert streams.LOGIN_SECONDS * streams.LOGINS_AT_ONCE == 1.0  # twenty a second
