"""Whether the specification's own JSON Schema and parser, installed from npm for this, take the document of the feed.

Nothing of them stays: they go into a temporary folder. What they object to is printed. Without npm it is skipped.
"""

import json
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from subprocess import run

from jsonschema import Draft7Validator

from gateway.bus.asyncapi import document, text
from tests.bench.figures import Effort, Figure, Skipped

PACKAGES = ("@asyncapi/specs@6", "@asyncapi/parser@3")
SCHEMA = "node_modules/@asyncapi/specs/schemas/3.0.0-without-$id.json"

ASK_PARSER = """
import {Parser} from '@asyncapi/parser';
import {readFileSync} from 'node:fs';
const {document, diagnostics} = await new Parser().parse(readFileSync(0, 'utf8'));
const errors = diagnostics.filter((found) => found.severity === 0).map((found) => found.message);
console.log(JSON.stringify({errors, channels: document ? document.channels().all().map((one) => one.address()) : []}));
"""


def measure(_effort: Effort) -> Iterator[Figure]:
    """How much each objects to: nothing, as it should be."""
    npm, node = shutil.which("npm"), shutil.which("node")
    if npm is None or node is None:
        raise Skipped("npm is not installed")
    with tempfile.TemporaryDirectory(prefix="asyncapi-") as name:
        folder = Path(name)
        run([npm, "install", "--silent", "--no-fund", "--no-audit", "--prefix", name, *PACKAGES], check=True)
        schema = json.loads((folder / SCHEMA).read_text("utf-8"))
        breaches = [error.message for error in Draft7Validator(schema).iter_errors(document())]
        (folder / "ask.mjs").write_text(ASK_PARSER, "utf-8")
        asked = run([node, "ask.mjs"], cwd=folder, input=text(), capture_output=True, check=True, text=True)
    told = json.loads(asked.stdout)
    for objection in (*breaches, *told["errors"]):
        print(objection, file=sys.stderr)
    yield Figure("JSON Schema of AsyncAPI 3.0.0", len(breaches), "objections")
    yield Figure("parser", len(told["errors"]), "errors")
    missing = len(document()["channels"]) - len(told["channels"])
    yield Figure("channels that the parser does not find", missing, "channels")
