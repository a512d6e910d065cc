"""The retained topics at a broker, played by a dictionary, always come to equal the memory of stations."""

from hypothesis import given
from hypothesis import strategies as st

from gateway.bus.station_topics import MAXIMUM_FOUND, StationTopics
from gateway.feed.heard_object import HeardPayload
from tests.judged_frames import Post


def _payload(post: Post, source: str) -> HeardPayload:
    return HeardPayload(post.hear(f"{source}>APRS:>x".encode()))


def _all(topics: StationTopics) -> dict[str, HeardPayload | None]:
    done = {}
    while (change := topics.next()) is not None:
        name, payload = change
        done[name] = payload
    return done


def test_nothing_is_written_before_the_broker_has_told_what_it_holds() -> None:
    topics, payload = StationTopics(), _payload(Post(), "QA1")
    topics.begin()
    topics.heard("QA1", payload)
    assert topics.next() is None
    topics.settle([("QA1", payload)])
    assert topics.next() == ("QA1", payload)


def test_what_the_broker_holds_already_is_not_written_again() -> None:
    topics, payload = StationTopics(), _payload(Post(), "QA1")
    topics.begin()
    topics.found("QA1", remembered=True, equal=True)
    topics.settle([("QA1", payload)])
    assert topics.next() is None


def test_what_the_broker_holds_of_a_station_that_is_not_remembered_is_cleared() -> None:
    topics = StationTopics()
    topics.begin()
    topics.found("QZ9", remembered=False, equal=False)
    topics.settle([])
    assert _all(topics) == {"QZ9": None}


def test_a_stray_that_the_broker_tells_late_is_cleared_as_well() -> None:
    topics = StationTopics()
    topics.begin()
    topics.settle([])
    topics.found("QZ9", remembered=False, equal=False)
    assert _all(topics) == {"QZ9": None}


def test_a_station_forgotten_before_it_was_ever_written_needs_no_clearing() -> None:
    topics = StationTopics()
    topics.begin()
    topics.settle([])
    topics.heard("QA1", _payload(Post(), "QA1"))
    topics.forgotten("QA1")
    assert topics.next() is None


def test_topics_are_cleared_before_others_are_written() -> None:
    topics, post = StationTopics(), Post()
    topics.begin()
    topics.settle([])
    topics.heard("QA1", _payload(post, "QA1"))
    assert list(_all(topics)) == ["QA1"]
    topics.heard("QA2", _payload(post, "QA2"))
    topics.forgotten("QA1")
    assert list(_all(topics)) == ["QA1", "QA2"]


def test_a_station_heard_all_the_time_does_not_keep_others_waiting() -> None:
    topics, post = StationTopics(), Post()
    topics.begin()
    topics.settle([])
    for source in ("QA1", "QA2", "QA1", "QA1"):
        superseded = topics.heard(source, _payload(post, source))
    assert superseded
    assert list(_all(topics)) == ["QA1", "QA2"]


def test_strays_without_end_are_not_all_kept_in_mind() -> None:
    topics = StationTopics()
    topics.begin()
    for number in range(MAXIMUM_FOUND + 10):
        topics.found(str(number), remembered=False, equal=False)
    topics.settle([])
    assert len(topics) == MAXIMUM_FOUND


SOURCES = st.sampled_from(["QA1", "QA2", "QA3", "QA4"])
STEPS = st.one_of(
    st.tuples(st.just("hear"), SOURCES),
    st.tuples(st.just("forget"), SOURCES),
    st.tuples(st.just("tell"), SOURCES),
    st.tuples(st.just("settle"), st.just("")),
    st.tuples(st.just("publish"), st.just("")),
    st.tuples(st.just("break"), st.just("")),
    st.tuples(st.just("lose all"), st.just("")),
)


class _Model:
    """Memory, broker and the difference between them, step by step."""

    def __init__(self, broker: dict[str, HeardPayload | None]) -> None:
        self.post = Post()
        self.memory: dict[str, HeardPayload] = {}
        self.broker = broker
        self.topics = StationTopics()
        self.connect()

    def connect(self) -> None:
        self.topics.begin()
        self.untold = dict(self.broker)
        self.settled = False

    def tell(self, source: str) -> None:
        if source in self.untold:
            held = self.untold.pop(source)
            remembered = self.memory.get(source)
            self.topics.found(source, remembered=remembered is not None, equal=remembered is held)

    def settle(self) -> None:
        if not self.settled:
            for source in list(self.untold):
                self.tell(source)
            self.topics.settle(self.memory.items())
            self.settled = True

    def publish(self) -> None:
        change = self.topics.next()
        if change is not None:
            name, payload = change
            if payload is None:
                del self.broker[name]
            else:
                self.broker[name] = payload

    def step(self, what: str, source: str) -> None:
        match what:
            case "hear":
                self.memory[source] = _payload(self.post, source)
                self.topics.heard(source, self.memory[source])
            case "forget":
                if self.memory.pop(source, None) is not None:
                    self.topics.forgotten(source)
            case "tell":
                self.tell(source)
            case "settle":
                self.settle()
            case "publish":
                self.publish()
            case "break":
                self.topics.end()
                self.connect()
            case "lose all":
                self.topics.end()
                self.broker.clear()
                self.connect()


@given(st.sets(SOURCES), st.lists(STEPS, max_size=60))
def test_whatever_happens_the_broker_comes_to_hold_what_is_remembered(
    strays: set[str], steps: list[tuple[str, str]]
) -> None:
    model = _Model(dict.fromkeys(strays))
    for what, source in steps:
        model.step(what, source)
    model.settle()
    while len(model.topics):
        model.publish()
    assert model.broker == model.memory
