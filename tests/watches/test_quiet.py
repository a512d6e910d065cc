"""Whether what is quiet is told, and what is not is not told: on simulated posts, for months, with stated draws."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.feed.heard_object import encode
from gateway.frames.heard import Moment
from gateway.groundwork.part import Part, PartKind, State
from gateway.watches.quiet import FEWEST_DAYS, LIMIT, MOST_AN_HOUR, REMEDY, SLOW_DAY, Hearing, QuietWatch, with_hearing
from tests.remembering import dumped, restore
from tests.watches.listening_post import DAY, HOUR, MINUTE, MONDAY_MS, STEP, ListeningPost, listened

NOON = 25 * DAY + 12 * HOUR
NIGHT = 25 * DAY + 2 * HOUR
"""Of a Friday, three weeks and four days after the start."""

FOR_GOOD = 10_000 * DAY


def quiet_spans(post: ListeningPost, days: int, watch: QuietWatch | None = None) -> list[tuple[int, int | None]]:
    """When the post was told to be quiet, and when no longer, in milliseconds after the start."""
    watch = watch or QuietWatch(["vhf"])
    spans: list[tuple[int, int | None]] = []
    quiet = False
    for moment, frames in post.hear(days):
        if frames:
            watch.heard("vhf", moment, frames)
        is_quiet = listened(watch, "vhf", moment).state is State.QUIET
        if is_quiet and not quiet:
            spans.append((moment.elapsed_ms, None))
        elif quiet and not is_quiet:
            spans[-1] = (spans[-1][0], moment.elapsed_ms)
        quiet = is_quiet
    return spans


def dead_from(start: int, until: int = FOR_GOOD) -> range:
    return range(start, until)


# No false alarm


def test_a_year_of_quiet_nights_slow_days_seasons_and_holidays_raises_no_alarm() -> None:
    assert quiet_spans(ListeningPost(draw=1), 365) == []


def test_a_busy_channel_raises_none_in_four_months() -> None:
    assert quiet_spans(ListeningPost(draw=2, fixed=20, boats=80, commuters=10), 120) == []


def test_a_lonely_post_raises_none_in_four_months() -> None:
    assert quiet_spans(ListeningPost(draw=4, fixed=1, boats=3, commuters=1), 120) == []


def test_a_post_that_hears_one_beacon_raises_none() -> None:
    assert quiet_spans(ListeningPost(draw=6, fixed=6, boats=0, commuters=0), 60) == []


def test_weekends_without_the_cars_of_the_week_raise_none() -> None:
    assert quiet_spans(ListeningPost(draw=7, fixed=0.2, boats=0, commuters=12), 60) == []


def test_a_power_cut_of_days_is_no_quiet_and_is_not_learnt() -> None:
    watch = QuietWatch(["vhf"])
    assert quiet_spans(ListeningPost(draw=8, off=range(25 * DAY, 40 * DAY)), 50, watch) == []
    assert {seen for seen, _ in hearing_of(watch)["vhf"]["days"][:23]} == {50 - 15}


# A dead antenna


@pytest.mark.parametrize("draw", [11, 12, 13])
def test_an_antenna_that_dies_at_noon_is_noticed_the_same_day(draw: int) -> None:
    ((noticed, over),) = quiet_spans(ListeningPost(draw, dead=dead_from(NOON)), 27)
    assert 3 * HOUR <= noticed - NOON <= 10 * HOUR
    assert over is None


@pytest.mark.parametrize("draw", [11, 12, 13])
def test_an_antenna_that_dies_at_night_is_noticed_by_noon(draw: int) -> None:
    ((noticed, over),) = quiet_spans(ListeningPost(draw, dead=dead_from(NIGHT)), 27)
    assert 3 * HOUR <= noticed - NIGHT <= 12 * HOUR
    assert over is None


def test_on_a_busy_channel_it_is_noticed_within_five_hours() -> None:
    ((noticed, _),) = quiet_spans(ListeningPost(14, fixed=20, boats=80, commuters=10, dead=dead_from(NOON)), 27)
    assert 3 * HOUR <= noticed - NOON <= 5 * HOUR


def test_at_a_lonely_post_it_is_noticed_on_the_fourth_day() -> None:
    ((noticed, _),) = quiet_spans(ListeningPost(15, fixed=1, boats=3, commuters=1, dead=dead_from(NOON)), 31)
    assert DAY <= noticed - NOON <= 4 * DAY


def test_a_plug_that_came_loose_and_lets_a_fiftieth_through_is_noticed_within_a_day() -> None:
    post = ListeningPost(16, fixed=20, boats=80, commuters=10, dead=dead_from(NOON), share=0.02)
    assert NOON < quiet_spans(post, 28)[0][0] < NOON + DAY


def test_a_silence_never_becomes_what_is_usual_however_long_it_lasts() -> None:
    ((_, over),) = quiet_spans(ListeningPost(17, dead=dead_from(NOON)), 120)
    assert over is None


def test_an_antenna_that_is_mended_is_fine_within_hours_and_its_next_death_is_noticed_as_soon() -> None:
    post = ListeningPost(18, dead=dead_from(NOON, NOON + 40 * DAY))
    watch = QuietWatch(["vhf"])
    ((_, over),) = quiet_spans(post, 70, watch)
    assert over is not None
    assert 0 < over - (NOON + 40 * DAY) < 3 * HOUR
    usual = [root for _, root in hearing_of(watch)["vhf"]["days"]]
    without = QuietWatch(["vhf"])
    quiet_spans(ListeningPost(18), 70, without)
    expected = [root for _, root in hearing_of(without)["vhf"]["days"]]
    assert sum(usual) > 0.7 * sum(expected)


def test_a_restart_forgets_neither_what_is_usual_nor_that_it_is_quiet() -> None:
    post = ListeningPost(19, dead=dead_from(NOON))
    watch = QuietWatch(["vhf"])
    for moment, frames in post.hear(27):
        if moment.elapsed_ms % (3 * HOUR) == 0:  # the gateway starts anew, many times a day
            memory = dumped(watch)
            watch = QuietWatch(["vhf"])
            restore(watch, memory)
        if frames:
            watch.heard("vhf", moment, frames)
        hearing = listened(watch, "vhf", moment)
    assert hearing.state is State.QUIET
    assert hearing.since_ms is not None
    assert abs(hearing.since_ms - (MONDAY_MS + NOON)) < HOUR


# What it says, and when it says nothing


class Steady:
    """A receiver that hears so many frames an hour, evenly, for as long as it is told to."""

    def __init__(self, frames_an_hour: int = 30) -> None:
        self.watch = QuietWatch(["vhf"])
        self.step = HOUR // frames_an_hour
        self.moment = Moment(0, MONDAY_MS)

    def pass_time(self, milliseconds: int, *, hearing: bool) -> Hearing:
        end = self.moment.elapsed_ms + milliseconds
        while self.moment.elapsed_ms < end:
            self.moment = Moment(self.moment.elapsed_ms + self.step, self.moment.time_ms + self.step)
            if hearing:
                self.watch.heard("vhf", self.moment)
            found = listened(self.watch, "vhf", self.moment)
        return found


def test_it_says_since_when_it_hears_how_much_less_than_is_usual() -> None:
    steady = Steady()
    assert steady.pass_time(8 * DAY, hearing=True) == (State.OK, "", None)
    assert steady.pass_time(3 * HOUR, hearing=False).state is State.OK
    hearing = steady.pass_time(HOUR, hearing=False)
    assert hearing.state is State.QUIET
    assert hearing.why == "nothing heard in 3 h 58 min, in which about 120 are usual"
    assert hearing.since_ms == MONDAY_MS + 8 * DAY + steady.step


def test_it_is_quiet_until_the_debt_is_paid() -> None:
    steady = Steady(frames_an_hour=30)
    steady.pass_time(8 * DAY, hearing=True)
    steady.pass_time(5 * HOUR, hearing=False)
    payment = 3 * MOST_AN_HOUR / (SLOW_DAY * 30)
    frames = int(LIMIT / payment)
    assert steady.pass_time(frames * steady.step, hearing=True).state is State.QUIET
    assert steady.pass_time(2 * steady.step, hearing=True).state is State.OK


def test_it_takes_the_time_that_is_stated() -> None:
    """56 usual frames: at 8 an hour seven hours; and three and a half hours at the soonest."""
    for frames_an_hour, hours in ((30, 3.5), (240, 3.5), (8 * 4, 3.5)):
        steady = Steady(frames_an_hour)
        steady.pass_time(8 * DAY, hearing=True)
        assert steady.pass_time(int(hours * HOUR) - 4 * steady.step, hearing=False).state is State.OK
        assert steady.pass_time(12 * steady.step, hearing=False).state is State.QUIET


def test_for_the_first_week_nothing_is_said() -> None:
    steady = Steady()
    steady.pass_time((FEWEST_DAYS - 1) * DAY, hearing=True)
    assert steady.pass_time(DAY, hearing=False).state is State.OK


def test_one_receiver_says_nothing_of_another() -> None:
    watch = QuietWatch(["vhf", "hf"])
    for moment, frames in ListeningPost(20).hear(9):
        watch.heard("vhf", moment, frames)
        assert listened(watch, "hf", moment).state is State.OK
    memory = hearing_of(watch)
    assert all(root == 0 for _, root in memory["hf"]["days"])
    assert any(root > 0 for _, root in memory["vhf"]["days"])


def test_time_in_which_nobody_asked_is_not_silence() -> None:
    steady = Steady()
    steady.pass_time(8 * DAY, hearing=True)
    for _ in range(50):
        steady.moment = Moment(steady.moment.elapsed_ms + HOUR, steady.moment.time_ms + HOUR)
        assert listened(steady.watch, "vhf", steady.moment).state is State.OK


def test_a_clock_that_is_set_makes_no_silence_and_no_lesson() -> None:
    steady = Steady()
    steady.pass_time(8 * DAY, hearing=True)
    before = hearing_of(steady.watch)["vhf"]["days"]
    for jump in (5 * HOUR, -5 * HOUR, 400 * DAY, -400 * DAY):
        steady.moment = Moment(steady.moment.elapsed_ms + MINUTE, steady.moment.time_ms + jump)
        assert listened(steady.watch, "vhf", steady.moment).state is State.OK
        listened(steady.watch, "vhf", Moment(steady.moment.elapsed_ms + STEP, steady.moment.time_ms + STEP))
    assert hearing_of(steady.watch)["vhf"]["days"] == before


def test_a_clock_that_starts_in_1970_teaches_nothing() -> None:
    watch = QuietWatch(["vhf"])
    for step in range(0, DAY, STEP):
        watch.heard("vhf", Moment(step, step))
        assert listened(watch, "vhf", Moment(step, step)).state is State.OK
    assert hearing_of(watch) == hearing_of(QuietWatch(["vhf"]))


# What is kept over a restart


def test_memory_is_a_plain_value_of_bounded_size_that_comes_back_as_it_was() -> None:
    watch = QuietWatch(["vhf", "hf"])
    for moment, frames in ListeningPost(21).hear(15):
        watch.heard("vhf", moment, frames)
    pieces = dumped(watch)
    assert sum(len(encode(piece)) for piece in pieces) < 10_000
    after = QuietWatch(["vhf", "hf"])
    restore(after, pieces)
    assert dumped(after) == pieces


def test_a_receiver_that_is_no_more_is_not_taken_in_and_a_new_one_starts_afresh() -> None:
    watch = QuietWatch(["vhf"])
    for moment, frames in ListeningPost(22).hear(2):
        watch.heard("vhf", moment, frames)
    after = QuietWatch(["uhf"])
    restore(after, dumped(watch))
    assert hearing_of(after) == hearing_of(QuietWatch(["uhf"]))


def hearing_of(watch: QuietWatch) -> dict[str, Any]:
    """What is dumped of each receiver."""
    return {name: of for piece in dumped(watch) for name, of in piece["receivers"].items()}


GOOD = hearing_of(QuietWatch(["vhf"]))["vhf"]


@pytest.mark.parametrize(
    "memory",
    [
        {},
        {"receivers": []},
        {"receivers": {"vhf": 5}},
        {"receivers": {"vhf": {**GOOD, "days": GOOD["days"][1:]}}},
        {"receivers": {"vhf": {**GOOD, "days": [[7, "9"]] * 24}}},
        {"receivers": {"vhf": {**GOOD, "days": [[7, float("nan")]] * 24}}},
        {"receivers": {"vhf": {**GOOD, "days": [[7, -1.0]] * 24}}},
        {"receivers": {"vhf": {**GOOD, "weeks": [[-1, 1.0]] * 168}}},
        {"receivers": {"vhf": {**GOOD, "debt": [99.0, 0, 0.0, 0, True]}}},
        {"receivers": {"vhf": {**GOOD, "debt": [1.0, 0, float("inf"), 0, True]}}},
        {"receivers": {"vhf": {**GOOD, "debt": []}}},
    ],
)
def test_a_memory_of_another_shape_is_left_out(memory: dict[str, Any]) -> None:
    watch = QuietWatch(["vhf"])
    restore(watch, [memory])
    assert hearing_of(watch) == hearing_of(QuietWatch(["vhf"]))


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.sampled_from(["vhf", "days", "debt"]), inner),
    max_leaves=20,
)


@given(_JSON)
def test_whatever_is_taken_in_can_be_asked_and_given_out(receivers: object) -> None:
    watch = QuietWatch(["vhf"])
    restore(watch, [{"receivers": receivers}])
    watch.heard("vhf", Moment(0, MONDAY_MS))
    assert listened(watch, "vhf", Moment(MINUTE, MONDAY_MS + MINUTE)).state is State.OK
    assert dumped(watch)


@given(
    st.lists(
        st.tuples(st.integers(0, 2 * STEP), st.sampled_from([0, 0, 0, -DAY, HOUR]), st.integers(0, 1000)), max_size=50
    )
)
def test_whatever_the_clocks_do_the_debt_stays_within_its_bounds(steps: list[tuple[int, int, int]]) -> None:
    watch = QuietWatch(["vhf"])
    restore(watch, [{"receivers": {"vhf": {**GOOD, "days": [[FEWEST_DAYS, 10.0]] * 24}}}])
    moment = Moment(0, MONDAY_MS)
    for passed, set_by, count in steps:
        moment = Moment(moment.elapsed_ms + passed, max(0, moment.time_ms + passed + set_by))
        watch.heard("vhf", moment, count)
        listened(watch, "vhf", moment)
        assert 0 <= hearing_of(watch)["vhf"]["debt"][0] <= LIMIT


# With the socket


def test_a_receiver_whose_socket_is_fine_is_as_it_hears() -> None:
    part = Part(PartKind.RECEIVER, "vhf", State.OK, MONDAY_MS)
    quiet = Hearing(State.QUIET, "nothing heard in 5 h, in which about 60 are usual", MONDAY_MS + HOUR)
    assert with_hearing(part, quiet) == Part(PartKind.RECEIVER, "vhf", State.QUIET, MONDAY_MS + HOUR, quiet.why, REMEDY)
    assert with_hearing(part, Hearing(State.OK)) is part


def test_a_receiver_whose_socket_is_not_fine_is_told_that_first() -> None:
    part = Part(PartKind.RECEIVER, "vhf", State.DOWN, MONDAY_MS, "refused", "is the decoder running?")
    assert with_hearing(part, Hearing(State.QUIET, "nothing", MONDAY_MS)) is part
