"""YAML text becomes a checked model; what is wrong in it is said with the file, the line, the key and what to do.

| file | holds |
| --- | --- |
| `problem.py` | one thing that is wrong, and the error that carries many |
| `document.py` | a document that was read: plain values, with the line of each |
| `text.py` | a file's text, bounded |
| `reading.py` | text becomes a document, within bounds that hold before memory is spent |
| `scalars.py` | which words are numbers, which are text |
| `slips.py` | what is no YAML, in words for the operator |
| `model.py` | a document becomes a pydantic model |
| `values.py` | types of values that all our files share |
"""

from gateway.documents.document import Document
from gateway.documents.model import check
from gateway.documents.problem import DocumentError, Place, Problem, key_of, nearest
from gateway.documents.reading import MAXIMUM_DEPTH, MAXIMUM_KEYS, MAXIMUM_VALUES, parse
from gateway.documents.text import MAXIMUM_TEXT, read_text

__all__ = [
    "MAXIMUM_DEPTH",
    "MAXIMUM_KEYS",
    "MAXIMUM_TEXT",
    "MAXIMUM_VALUES",
    "Document",
    "DocumentError",
    "Place",
    "Problem",
    "check",
    "key_of",
    "nearest",
    "parse",
    "read_text",
]
