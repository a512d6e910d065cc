"""What the journal gives back after a restart, from whatever file it finds."""

import contextlib
import json
import sqlite3
from collections import deque
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway.feed.heard_object import HeardPayload, no_report
from gateway.frames.heard import Moment
from gateway.journal import schema
from gateway.journal.batch import Dump
from gateway.journal.recollection import DumpedMemory, Recollection, Wanted
from gateway.journal.runs import PastRun, RunStart, shifts
from tests.journal.keeping import RUN, batch_of, frames, store_at
from tests.judged_frames import NOON_MS, Post
from tests.remembering import any_json

HERE = RunStart(NOON_MS + 3_600_000, "boot-1", 5_000_000, synchronised=True)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "stile.db"


def dump(name: str, heard: int, *pieces: Mapping[str, Any], version: int = 1) -> Dump:
    return Dump(name, version, heard, pieces=deque(pieces))


def recollected(path: Path, *names: str, now: RunStart = HERE, recent: int = 0) -> Recollection:
    store = store_at(path, "the next run")
    try:
        return store.recollect(Wanted(names, now, no_report, recent))
    finally:
        store.close()


def pieces_of(kept: DumpedMemory) -> list[dict[str, Any]]:
    return [piece for piece, _ in kept.pieces]


def spoil(path: Path, statement: str, *values: object) -> None:
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute(statement, values)


# What comes back


def test_a_memory_comes_back_in_its_pieces_as_it_was_dumped_last(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(2), dumps=[dump("judge", 1, {"a": 1}, {"b": 2}, {"c": 3})]))
    store.write(batch_of(dumps=[dump("judge", 2, {"d": 4}, {"e": [5]}), dump("hearing", 2, {"f": 6}, version=7)]))
    store.close()
    found = recollected(path, "judge", "hearing", "what was never dumped")
    assert set(found.dumped_by_name) == {"judge", "hearing"}
    assert pieces_of(found.dumped_by_name["judge"]) == [{"d": 4}, {"e": [5]}]
    assert (found.dumped_by_name["hearing"].version, pieces_of(found.dumped_by_name["hearing"])) == (7, [{"f": 6}])
    assert found.frames == []


def test_what_was_heard_after_a_dump_is_to_be_heard_again(path: Path) -> None:
    judged = frames(5)
    store = store_at(path)
    store.write(batch_of(judged, dumps=[dump("judge", 3, {}), dump("hearing", 4, {})]))
    store.close()
    found = recollected(path, "judge", "hearing")
    assert [payload.judged.heard.sequence for _, payload in found.frames] == [4, 5]
    assert [number > found.dumped_by_name["hearing"].until for number, _ in found.frames] == [False, True]
    [payload] = [payload for _, payload in found.frames if payload.judged.heard.sequence == 4]
    assert payload.judged.heard.frame == judged[3].heard.frame
    assert payload.judged.verdict == judged[3].verdict
    assert payload.encoded() == HeardPayload(judged[3]).encoded()


def test_a_memory_that_has_not_changed_is_up_to_date_all_the_same(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(3), dumps=[dump("hearing", 1, {"f": 6})]))
    store.write(batch_of(dumps=[Dump("hearing", 1, 3, changed=False)]))
    store.close()
    found = recollected(path, "hearing")
    assert pieces_of(found.dumped_by_name["hearing"]) == [{"f": 6}]
    assert found.frames == []


def test_the_frames_heard_last_come_back_whatever_was_dumped(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(9), dumps=[dump("judge", 9, {})]))
    store.close()
    found = recollected(path, "judge", recent=3)
    assert [payload.judged.heard.sequence for _, payload in found.frames] == [7, 8, 9]


def test_a_piece_gets_the_frames_that_it_names(path: Path) -> None:
    store = store_at(path)
    named = [[RUN, 2], [RUN, 77], ["another run", 1], [RUN, -1], "a", [RUN], [5, 5], [RUN, 3]]
    store.write(batch_of(frames(3), dumps=[dump("stations", 3, {"frames": named})]))
    store.close()
    [(_, past)] = recollected(path, "stations").dumped_by_name["stations"].pieces
    assert [frame and frame.judged.heard.sequence for frame in past.frames] == [2, *[None] * 6, 3]


def test_frames_that_a_killed_gateway_left_beside_the_journal_are_among_them(path: Path) -> None:
    judged = frames(4)
    with contextlib.closing(store_at(path)) as store:
        store.write(batch_of(judged[:2], dumps=[dump("judge", 2, {})]))
        store.write(batch_of(judged[2:], settles=False))  # and then it is killed
        found = recollected(path, "judge")
    assert [payload.judged.heard.sequence for _, payload in found.frames] == [3, 4]
    assert path.with_name("stile.db-pending").exists() is False


# How long ago it was


def shift(*runs: PastRun, now: RunStart = HERE) -> list[int]:
    found = shifts(runs, now)
    return [found[run.number] for run in runs]


def test_within_one_start_of_the_computer_its_own_clock_tells_the_time_away() -> None:
    run = PastRun(1, "boot-1", 4_000_000, Moment(900_000, 0))
    assert shift(run) == [-1_000_000]
    assert shift(run, now=RunStart(NOON_MS * 3, "boot-1", 5_000_000, synchronised=False)) == [-1_000_000]


def test_over_a_restart_of_the_computer_a_trusted_wall_clock_does() -> None:
    run = PastRun(1, "boot-0", 4_000_000, Moment(900_000, NOON_MS))
    assert shift(run) == [-900_000 - 3_600_000]


@pytest.mark.parametrize(
    ("last_ms", "now"),
    [
        (NOON_MS, RunStart(NOON_MS + 3_600_000, "boot-1", 5_000_000, synchronised=False)),
        (NOON_MS, RunStart(NOON_MS - 1, "boot-1", 5_000_000, synchronised=True)),
        (86_400_000, HERE),  # 1970: a clock without a battery
    ],
)
def test_else_the_time_away_is_not_counted_at_all(last_ms: int, now: RunStart) -> None:
    assert shift(PastRun(1, "boot-0", 4_000_000, Moment(900_000, last_ms)), now=now) == [-900_000]


def test_a_run_is_older_than_all_that_came_after_it() -> None:
    first = PastRun(1, "boot-0", 0, Moment(60_000, 0))
    second = PastRun(2, "boot-1", 1_000_000, Moment(1_000, 0))
    assert shift(first, second) == [-4_060_000, -4_000_000]


def test_what_was_heard_before_has_an_elapsed_time_below_nothing(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(3), dumps=[dump("judge", 0, {})]))
    store.close()
    spoil(path, "UPDATE runs SET boot = 'boot-1', boot_ms = 4990000")
    found = recollected(path, "judge")
    assert [payload.judged.heard.moment.elapsed_ms for _, payload in found.frames] == [-10_000, -9_000, -8_000]
    assert [payload.judged.heard.moment.time_ms for _, payload in found.frames] == [
        NOON_MS + 1000 * number for number in range(3)
    ]
    assert [past.shift_ms for _, past in found.dumped_by_name["judge"].pieces] == [-10_000]


# What was spoiled


@pytest.mark.parametrize(
    "spoiled",
    [
        "UPDATE heard SET object = 'no JSON' WHERE sequence = 2",
        "UPDATE heard SET object = '[' || object || ']' WHERE sequence = 2",
        "UPDATE heard SET object = x'c3' WHERE sequence = 2",
        "UPDATE heard SET object = CAST(x'c3' AS TEXT) WHERE sequence = 2",
        "UPDATE heard SET object = 17 WHERE sequence = 2",
        "UPDATE heard SET object = json_set(object, '$.sequence', -5) WHERE sequence = 2",
        "UPDATE heard SET object = json_set(object, '$.verdict', 'perhaps') WHERE sequence = 2",
        "UPDATE heard SET object = json_remove(object, '$.time') WHERE sequence = 2",
        "UPDATE heard SET object = json_set(object, '$.pad', hex(zeroblob(100000))) WHERE sequence = 2",
    ],
)
def test_a_spoiled_row_is_passed_over_and_the_others_come_back(path: Path, spoiled: str) -> None:
    store = store_at(path)
    store.write(batch_of(frames(3), dumps=[dump("judge", 0, {})]))
    store.close()
    spoil(path, spoiled)
    found = recollected(path, "judge")
    assert [payload.judged.heard.sequence for _, payload in found.frames] == [1, 3]


def test_a_spoiled_piece_takes_no_other_with_it(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(dumps=[dump("judge", 0, {"a": 1}, {"b": 2}, {"c": 3})]))
    store.close()
    spoil(path, "UPDATE pieces SET value = ? WHERE number = 1", "[" * 5000)
    assert pieces_of(recollected(path, "judge").dumped_by_name["judge"]) == [{"a": 1}, {"c": 3}]


_value = any_json.map(json.dumps) | st.text(max_size=20) | st.binary(max_size=20) | st.integers(-(2**63), 2**63 - 1)


@given(
    st.tuples(_value, _value, _value),
    st.lists(st.tuples(st.integers(-(2**63), 2**63 - 1), _value), max_size=5),
    st.lists(_value, max_size=5),
    st.tuples(_value, _value),
)
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_stands_in_a_journal_nothing_is_raised(
    path: Path,
    remembered: tuple[Any, Any, Any],
    heard: list[tuple[int, Any]],
    pieces: list[Any],
    run: tuple[Any, Any],
) -> None:
    path.unlink(missing_ok=True)
    store = store_at(path)
    store.write(batch_of(frames(1)))
    store.close()
    with (
        contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection,
        contextlib.suppress(UnicodeEncodeError),
    ):
        connection.execute("INSERT OR REPLACE INTO remembered VALUES ('judge', ?, ?, ?)", remembered)
        connection.execute("UPDATE runs SET boot = ?, boot_ms = ?", run)
        for number, text in heard:
            values = (number, 0, text)
            connection.execute("INSERT OR IGNORE INTO heard (id, time_ms, object) VALUES (?, ?, ?)", values)
        for number, text in enumerate(pieces):
            connection.execute("INSERT INTO pieces VALUES ('judge', ?, ?)", (number, text))
    found = recollected(path, "judge", recent=10)
    assert all(isinstance(piece, dict) for kept in found.dumped_by_name.values() for piece, _ in kept.pieces)


# From the version before


def test_what_the_version_before_kept_in_one_value_is_taken_over(path: Path) -> None:
    kept = {
        "version": 1,
        "budgets": {"metered/everything": {"period": "2026-06-06", "used": {"everything": 1234}}},
        "hearing": {"version": 1, "receivers": {}},
        "telemetry": {"version": 1, "stations": {"QA1BUOY": {"names": ["Battery"]}}},
    }
    older(path, json.dumps(kept))
    found = recollected(path, "judge", "hearing", "telemetry")
    assert pieces_of(found.dumped_by_name["judge"]) == [{"budgets": kept["budgets"]}]
    assert pieces_of(found.dumped_by_name["hearing"]) == [kept["hearing"]]
    assert pieces_of(found.dumped_by_name["telemetry"]) == [kept["telemetry"]]
    assert found.frames == []  # all that was heard is known


@pytest.mark.parametrize("text", ["no JSON", "[]", "", "7", '{"budgets": 5}'])
def test_what_the_version_before_kept_in_another_shape_is_left_out(path: Path, text: str) -> None:
    older(path, text)
    assert [pieces_of(kept) for kept in recollected(path, "judge", "hearing").dumped_by_name.values()] in (
        [],
        [[{"budgets": 5}]],
    )


def older(path: Path, budgets: str) -> None:
    """A journal of the first version, in which one run heard one frame."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
        schema.migrate(connection, path, schema.migrations()[:1])
        connection.execute("INSERT INTO runs VALUES (1, ?, ?, 'QX1GAT-10', 'test@000000')", (RUN, NOON_MS))
        text = HeardPayload(Post(RUN).hear(b"QA1BCD>APRS:>hello")).encoded().decode()
        values = (1 << schema.SEQUENCE_BITS | 1, NOON_MS, text)
        connection.execute("INSERT INTO heard (id, time_ms, object) VALUES (?, ?, ?)", values)
        connection.execute("INSERT INTO judge_state VALUES (1, ?, ?)", (NOON_MS, budgets))
