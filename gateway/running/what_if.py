"""Has a policy that somebody pasted in judged over what was heard of late, in a child process, one at a time."""

import asyncio
import contextlib
import json
import os
import sys
from collections.abc import Callable
from http import HTTPStatus
from pathlib import Path

from gateway.frames.plain import PlainObject
from gateway.judge.conditions import Post
from gateway.judge.source import PolicySource
from gateway.web.knowledge import PastError

MOST_SECONDS = 30.0
MOST_ANSWER = 8 * 1024 * 1024
"""Octets of what the child may say: a row for each of the most rules takes less."""

CHILD = "gateway.commands.what_if"


class WhatIf:
    """Starts the child, gives it its task and waits for its answer. Cancelled, it ends the child."""

    def __init__(
        self, journal: Path | None, post: Post, source: Callable[[], PolicySource], *, seconds: float = MOST_SECONDS
    ) -> None:
        """`source` gives the policy in force."""
        self._journal = journal
        self._post = post
        self._source = source
        self._seconds = seconds
        self._is_busy = False

    async def __call__(self, policy: str, since_ms: int) -> PlainObject:
        """What `policy` would have done since then, beside the one in force; or `problems` with it.

        Raises `PastError`.
        """
        if self._journal is None:
            raise PastError("there is no journal to judge: write `journal: {path: stile.db}` into the station file")
        if self._is_busy:
            raise PastError("another policy is being tried: wait for it", HTTPStatus.CONFLICT)
        task = task_of(policy, since_ms, self._source(), self._post, self._journal)
        self._is_busy = True
        try:
            async with asyncio.timeout(self._seconds):
                answer = await self._answer(json.dumps(task).encode())
        except TimeoutError:
            raise PastError(f"it took longer than {self._seconds:g} s: try a shorter time, or fewer rules") from None
        except OSError as error:
            raise PastError(f"no process can be started now: {error.strerror}") from None
        finally:
            self._is_busy = False
        if "trouble" in answer:
            raise PastError(answer["trouble"])
        return answer

    async def _answer(self, task: bytes) -> PlainObject:
        child = await asyncio.create_subprocess_exec(
            *(sys.executable, "-P", "-m", CHILD),
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.DEVNULL,
            env={"PYTHONPATH": os.pathsep.join(sys.path), "PYTHONDONTWRITEBYTECODE": "1"},  # no secret of ours
        )
        try:
            assert child.stdin is not None and child.stdout is not None  # noqa: S101, PT018 - they were asked for
            child.stdin.write(task)
            with contextlib.suppress(ConnectionError):
                await child.stdin.drain()
            child.stdin.close()
            output = await _all_of(child.stdout)
            await child.wait()
        finally:
            if child.returncode is None:
                with contextlib.suppress(ProcessLookupError):
                    child.kill()
                await child.wait()
        try:
            answer = json.loads(output)
        except ValueError:
            raise PastError("the process that should judge it ended before it was done") from None
        return answer if isinstance(answer, dict) else {}


def task_of(policy: str, since_ms: int, source: PolicySource, post: Post, journal: Path) -> PlainObject:
    """What the child is told; `source` is the policy in force."""
    return {
        "policy": policy,
        "since_ms": since_ms,
        "texts": [(text.file, text.text) for text in source.texts],
        "post": {"callsign": post.callsign, "latitude": post.latitude, "longitude": post.longitude},
        "journal": str(journal),
    }


async def _all_of(stream: asyncio.StreamReader) -> bytes:
    """All that comes; of what is more than `MOST_ANSWER` nothing can be read any more."""
    output = bytearray()
    while len(output) <= MOST_ANSWER and (piece := await stream.read(65_536)):
        output += piece
    return bytes(output)
