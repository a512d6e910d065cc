"""Metrics as text, in the Prometheus exposition format 0.0.4: families of samples in, octets out. No I/O."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


class FamilyKind(StrEnum):
    """The kinds of metric that are used here."""

    COUNTER = "counter"
    """It only grows, but for a restart; its name ends in `_total`."""

    GAUGE = "gauge"
    """It goes up and down."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One number, told from its siblings by its labels. Nothing from the air may be a label: it would never end."""

    value: float
    labels: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Family:
    """All samples of one name. Units are base units, and stand at the end of the name."""

    name: str
    kind: FamilyKind
    help: str
    samples: Iterable[Sample]


def counter(name: str, told: str, samples: Iterable[Sample] | float) -> Family:
    """A counter, with labels or as a single number."""
    return Family(name, FamilyKind.COUNTER, told, _samples(samples))


def gauge(name: str, told: str, samples: Iterable[Sample] | float) -> Family:
    """A gauge, with labels or as a single number."""
    return Family(name, FamilyKind.GAUGE, told, _samples(samples))


def by_label(label: str, values: Mapping[str, float]) -> list[Sample]:
    """A sample for each value of one label."""
    return [Sample(value, {label: name}) for name, value in values.items()]


def write(families: Iterable[Family]) -> bytes:
    """The text of all families, each line ended by a line feed."""
    lines = []
    for family in families:
        lines.append(f"# HELP {family.name} {_escaped(family.help)}\n# TYPE {family.name} {family.kind}\n")
        lines += [f"{family.name}{_labels(sample.labels)} {_number(sample.value)}\n" for sample in family.samples]
    return "".join(lines).encode("utf-8")


def _samples(samples: Iterable[Sample] | float) -> Iterable[Sample]:
    return (Sample(samples),) if isinstance(samples, int | float) else samples


def _labels(labels: Mapping[str, str]) -> str:
    if not labels:
        return ""
    written = ",".join(f'{name}="{_escaped(value, quoted=True)}"' for name, value in labels.items())
    return f"{{{written}}}"


def _escaped(text: str, *, quoted: bool = False) -> str:
    text = text.replace("\\", "\\\\").replace("\n", "\\n")
    return text.replace('"', '\\"') if quoted else text


def _number(value: float) -> str:
    """As Go's `ParseFloat` reads it, which is what the format asks for."""
    return {"inf": "+Inf", "-inf": "-Inf", "nan": "NaN"}.get(repr(value), repr(value))
