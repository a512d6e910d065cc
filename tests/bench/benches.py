"""The list of benches: each a module of this folder, which `figures.Bench` says how to write."""

from importlib import import_module

from tests.bench.figures import Bench, as_bench

USUAL = (
    "house",
    "throughput",
    "latency",
    "judging",
    "documents",
    "reports",
    "replay",
    "journal",
    "card_day",
    "bus",
    "stages",
    "start",
    "idle",
    "growth",
)
"""What is measured unless some are named: a few minutes in all."""

HELD = ("judging", "documents", "reports", "replay", "growth")
"""What CI holds to its budgets, in a minute: those whose ratios are much the same on a busy computer."""

BY_NAME = (
    "memory",
    "quota",
    "card",
    "clients",
    "network_flood",
    "quiet",
    "mutations",
    "page",
    "hub",
    "flow_editor",
    "asyncapi_tools",
)
"""What runs for long, or installs other people's programs: only when it is named."""


def load(name: str) -> Bench:
    """The bench of this name."""
    return as_bench(import_module(f"tests.bench.{name}"))


def about(bench: Bench) -> str:
    """What it measures, in a line."""
    return (bench.__doc__ or "").partition("\n")[0]
