"""Whether the specification's own JSON Schema and parser, installed from npm for this, take the document of the feed.

Nothing of them stays: they go into a temporary folder. Prints what they say, and ends with 1 where they object. Without
npm it is skipped.

Run it from the tree: `.venv/bin/python -m tests.bench.asyncapi_tools`.
"""

import json
import shutil
import sys
import tempfile
from pathlib import Path
from subprocess import run

from jsonschema import Draft7Validator

from gateway.bus.asyncapi import document, text

PACKAGES = ("@asyncapi/specs@6", "@asyncapi/parser@3")
SCHEMA = "node_modules/@asyncapi/specs/schemas/3.0.0-without-$id.json"

ASK_PARSER = """
import {Parser} from '@asyncapi/parser';
import {readFileSync} from 'node:fs';
const {document, diagnostics} = await new Parser().parse(readFileSync(0, 'utf8'));
const errors = diagnostics.filter((found) => found.severity === 0).map((found) => found.message);
console.log(JSON.stringify({errors, channels: document ? document.channels().all().map((one) => one.address()) : []}));
"""


def main() -> int:
    """Returns the exit status."""
    npm = shutil.which("npm")
    node = shutil.which("node")
    if npm is None or node is None:
        print("skipped: npm not installed")
        return 0
    with tempfile.TemporaryDirectory(prefix="asyncapi-") as name:
        folder = Path(name)
        run([npm, "install", "--silent", "--no-fund", "--no-audit", "--prefix", name, *PACKAGES], check=True)
        schema = json.loads((folder / SCHEMA).read_text("utf-8"))
        breaches = [error.message for error in Draft7Validator(schema).iter_errors(document())]
        (folder / "ask.mjs").write_text(ASK_PARSER, "utf-8")
        asked = run([node, "ask.mjs"], cwd=folder, input=text(), capture_output=True, check=True, text=True)
    told = json.loads(asked.stdout)
    print(f"JSON Schema of AsyncAPI 3.0.0: {len(breaches)} objections", *breaches, sep="\n  ")
    print(f"parser: {len(told['errors'])} errors, {len(told['channels'])} channels", *told["errors"], sep="\n  ")
    return 1 if breaches or told["errors"] or len(told["channels"]) != len(document()["channels"]) else 0


if __name__ == "__main__":
    sys.exit(main())
