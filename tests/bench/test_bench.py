import json
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from gateway.frames.heard import Heard
from gateway.judge.judge import Judge
from gateway.judge.verdict import Judged
from tests.bench import __main__ as command
from tests.bench import benches, budgets, judging
from tests.bench.budgets import Budget
from tests.bench.ends import KISS_MARK, Ends, Readers, burst
from tests.bench.figures import Effort, Figure, Skipped, in_turn, microseconds, ratio
from tests.bench.processes import gateway, relay

HERE = Path(__file__).parent
BENCHES = [*benches.USUAL, *benches.BY_NAME]


@pytest.mark.parametrize("name", BENCHES)
def test_every_bench_keeps_to_the_protocol_and_says_in_a_line_what_it_is_about(name: str) -> None:
    bench = benches.load(name)
    assert callable(bench.measure)
    assert benches.about(bench).endswith(".")
    assert f"`{name}`" in (HERE / "README.md").read_text("utf-8")


def test_every_module_that_measures_is_listed() -> None:
    modules = {path.stem for path in HERE.glob("*.py") if "\ndef measure(" in path.read_text("utf-8")}
    assert modules == set(BENCHES)


def test_sides_are_measured_in_turn() -> None:
    order: list[str] = []

    def side(name: str) -> float:
        order.append(name)
        return float(len(order))

    results = in_turn(2, {"ours": lambda: side("ours"), "its": lambda: side("its")})
    assert order == ["ours", "its", "ours", "its"]
    assert results == {"ours": [1, 3], "its": [2, 4]}


def test_a_ratio_is_the_median_of_those_of_the_turns() -> None:
    figure = ratio("all", [1e-6, 4e-6, 9e-6], [1e-6, 2e-6, 3e-6], microseconds, "relay")
    assert figure.value == pytest.approx(2)
    assert (figure.measured, figure.baseline, figure.turns) == ("4.0 µs", "relay 2.0 µs", 3)


def test_a_quick_run_takes_a_tenth_of_the_trouble() -> None:
    assert (Effort().turns, Effort().of(1000)) == (9, 1000)
    assert (Effort(quick=True).turns, Effort(quick=True).of(1000)) == (3, 100)


@pytest.mark.parametrize(
    ("bounds", "value", "slack", "holds"),
    [
        ({"at_most": 2.0}, 2.0, 1.0, True),
        ({"at_most": 2.0}, 2.1, 1.0, False),
        ({"at_most": 2.0}, 3.9, 2.0, True),
        ({"at_least": 0.8}, 0.8, 1.0, True),
        ({"at_least": 0.8}, 0.7, 1.0, False),
        ({"at_least": 0.8}, 0.41, 2.0, True),
        ({"at_least": 0.8}, 0.39, 2.0, False),
    ],
)
def test_a_budget_holds_within_its_bounds_and_its_slack(
    bounds: dict[str, float], value: float, slack: float, *, holds: bool
) -> None:
    assert Budget(**bounds).holds(Figure("it", value, "x"), slack) is holds


def test_budgets_are_of_figures_of_benches_that_there_are() -> None:
    assert {bench for bench, _ in budgets.read()} <= set(BENCHES)


def test_a_budget_of_another_shape_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "budgets.toml"
    path.write_text('[house]\n"everything" = {at_mots = 2}\n')
    with pytest.raises(TypeError, match="at_mots"):
        budgets.read(path)


@pytest.fixture
def two_benches(monkeypatch: pytest.MonkeyPatch) -> None:
    """One that gives a figure of 3, and one that cannot run; neither has a budget."""
    monkeypatch.setattr(budgets, "read", dict)

    def measure(effort: Effort) -> Iterator[Figure]:
        yield Figure("everything", 3.0, "x", "24.0 µs", "relay 8.0 µs", effort.turns)

    def skip(_effort: Effort) -> Iterator[Figure]:
        raise Skipped("no broker")

    modules = {"house": ModuleType("house", "What it costs."), "bus": ModuleType("bus", "How fast.")}
    modules["house"].measure, modules["bus"].measure = measure, skip  # type: ignore[attr-defined] # made here
    monkeypatch.setattr(benches, "load", modules.__getitem__)
    monkeypatch.setattr(benches, "USUAL", tuple(modules))


@pytest.mark.usefixtures("two_benches")
def test_the_table_has_each_figure_beside_its_baseline(capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main([]) == 0
    told = capsys.readouterr().out
    assert "house: What it costs." in told
    assert "| everything | 24.0 µs  | relay 8.0 µs | 3.00 x |        |" in told
    assert "skipped: no broker" in told


@pytest.mark.usefixtures("two_benches")
def test_json_is_all_that_stands_on_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main(["--json", "--quick", "--only", "house"]) == 0
    (figure,) = json.loads(capsys.readouterr().out)
    assert (figure["bench"], figure["name"], figure["value"], figure["turns"]) == ("house", "everything", 3.0, 3)
    assert figure["kept"] is None


@pytest.mark.usefixtures("two_benches")
@pytest.mark.parametrize(("most", "status", "said"), [(3.5, 0, "≤ 3.5 "), (2.5, 1, "≤ 2.5: broken")])
def test_a_broken_budget_is_shown_and_ends_the_command_with_1(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, most: float, status: int, said: str
) -> None:
    monkeypatch.setattr(budgets, "read", lambda: {("house", "everything"): Budget(at_most=most)})
    assert command.main(["--only", "house"]) == status
    assert said in capsys.readouterr().out


def test_what_goes_in_comes_out_of_the_relay_and_of_the_gateway() -> None:
    with Readers() as readers, tempfile.TemporaryDirectory() as folder:
        bare, ends = Ends(readers, KISS_MARK), Ends(readers)
        with relay(bare) as measured, gateway(ends, Path(folder)):
            for one in (bare, ends):
                one.send(burst(0, 100))
                assert one.wait_for(100)
                assert one.received == 100
            assert measured.processor_seconds() > 0
            assert measured.most_memory_mb() > 1


# What CI holds


@pytest.fixture
def slow_judge(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The judge, slowed down on purpose: each frame takes a while longer. Gives how often that was done."""
    slowed: list[int] = []
    judge = Judge.judge

    def slow(self: Judge, heard: Heard) -> Judged:
        slowed.append(1)
        sum(range(3000))
        return judge(self, heard)

    monkeypatch.setattr(Judge, "judge", slow)
    return slowed


@pytest.fixture
def few_frames(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(judging, "FRAMES", 2000)
    monkeypatch.setattr("gc.collect", lambda: 0)  # here it has all the tests to look through
    monkeypatch.setattr(judging, "growth", lambda _heard, _turns: ())


@pytest.mark.usefixtures("few_frames")
def test_a_judge_that_was_slowed_down_is_red_after_a_second_try(
    slow_judge: list[int], capsys: pytest.CaptureFixture[str]
) -> None:
    assert command.main(["--hold", "--only", "judging"]) == 1
    told = capsys.readouterr().out
    assert "judging: policy receive-only is" in told
    assert "2 times; its budget is ≥ 0.8" in told
    assert slow_judge


def given_in_turn(monkeypatch: pytest.MonkeyPatch, *values: float) -> None:
    """One bench that gives these values of one figure, with a budget of at most 2."""
    left = list(values)

    def measure(_effort: Effort) -> Iterator[Figure]:
        yield Figure("everything", left.pop(0), "x")

    module = ModuleType("house", "What it costs.")
    module.measure = measure  # type: ignore[attr-defined] # made here
    monkeypatch.setattr(benches, "load", lambda _name: module)
    monkeypatch.setattr(budgets, "read", lambda: {("house", "everything"): Budget(at_most=2)})


@pytest.mark.parametrize(
    ("values", "status"), [((3.9,), 0), ((4.1, 3.9), 0), ((4.1, 4.1), 1)], ids=["within", "once", "twice"]
)
def test_what_is_twice_as_bad_as_its_budget_is_red_if_it_is_so_again(
    monkeypatch: pytest.MonkeyPatch, values: tuple[float, ...], status: int
) -> None:
    given_in_turn(monkeypatch, *values)
    assert command.main(["--hold", "--only", "house"]) == status


def test_every_bench_that_is_held_has_budgets() -> None:
    assert set(benches.HELD) <= {bench for bench, _ in budgets.read()}
