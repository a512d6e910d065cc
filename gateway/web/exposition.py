"""Metrics as text, in the Prometheus exposition format 0.0.4: figures in, octets out. No I/O."""

from collections.abc import Iterable, Mapping

from gateway.groundwork.part import Figure

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


def write(figures: Iterable[Figure]) -> bytes:
    """The text of all figures, those of one name together, each line ended by a line feed.

    Names are whole ones, units and `_total` at their end. Nothing from the air may be a label: it would never end.
    """
    families: dict[str, list[Figure]] = {}
    for figure in figures:
        families.setdefault(figure.name, []).append(figure)
    lines = []
    for name, family in families.items():
        lines.append(f"# HELP {name} {_escaped(family[0].help)}\n# TYPE {name} {family[0].kind}\n")
        lines += [f"{name}{_labels(figure.labels)} {_number(figure.value)}\n" for figure in family]
    return "".join(lines).encode("utf-8")


def _labels(labels: Mapping[str, str]) -> str:
    if not labels:
        return ""
    pairs = ",".join(f'{name}="{_escaped(value, quoted=True)}"' for name, value in labels.items())
    return f"{{{pairs}}}"


def _escaped(text: str, *, quoted: bool = False) -> str:
    text = text.replace("\\", "\\\\").replace("\n", "\\n")
    return text.replace('"', '\\"') if quoted else text


def _number(value: float) -> str:
    """As Go's `ParseFloat` reads it, which is what the format asks for."""
    return {"inf": "+Inf", "-inf": "-Inf", "nan": "NaN"}.get(repr(value), repr(value))
