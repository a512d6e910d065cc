"""Judges the station file and its policy, as `stile check` finds them."""

import errno
import os
from collections.abc import Iterator

from gateway.doctor.evidence import Evidence
from gateway.doctor.finding import Finding, look, ok, wrong
from gateway.settings import PASSCODE_VARIABLE, Problem

_MEND = "mend that line; `stile check` shows it"
_BY_ANOTHER = "run the doctor as the gateway's user, or with sudo"
_NAME_IT = "mend that, or name the station file: `stile doctor STATION`"
_UNREAD = "cannot be read: "
_ABOUT_THE_JOURNAL = "journal."


def station_file(evidence: Evidence) -> Iterator[Finding]:
    """Whether the gateway can run with the station file, and as its author meant it."""
    checked = evidence.checked
    own = [problem for problem in checked.problems if problem.file == str(checked.station)]
    for problem in own:
        yield wrong(_said(problem), _remedy(problem))
    if not own and evidence.station is not None:
        settings = evidence.station.settings
        yield ok(
            f"read, for {settings.station.callsign}, with receivers: {', '.join(settings.receiver_names) or 'none'}"
        )
    if own and evidence.station is None:
        yield look(
            "what it names was not looked at: decoders, servers, folders, the broker", "then ask the doctor again"
        )
    folders_are_told = any(folder.trouble for folder in evidence.folders)
    for warning in checked.warnings:
        about_folders = warning.key.startswith(_ABOUT_THE_JOURNAL) and folders_are_told
        if warning.file == str(checked.station) and not about_folders:
            yield look(_said(warning))
    if evidence.passcode_from_environment:
        what = f"the passcode comes from the variable {PASSCODE_VARIABLE} of this terminal"
        yield look(what, "see that the service gets it, too; a file that `passcode_file` names is surer")


def policy(evidence: Evidence) -> Iterator[Finding]:
    """Whether the policy can be used, and its own examples hold."""
    checked = evidence.checked
    others = [problem for problem in checked.problems if problem.file != str(checked.station)]
    for problem in others:
        yield wrong(_said(problem), _remedy(problem))
    if not others and checked.source is not None:
        yield ok(f"{checked.source.label}: {len(checked.source.examples)} examples held")
    for warning in checked.warnings:
        if warning.file != str(checked.station):
            yield look(_said(warning))


def _remedy(problem: Problem) -> str:
    if problem.what.endswith(os.strerror(errno.EACCES)):
        return _BY_ANOTHER
    return _NAME_IT if _is_unread(problem) else _MEND


def _is_unread(problem: Problem) -> bool:
    """Whether it is about a whole file."""
    return not problem.key and problem.what.startswith(_UNREAD)


def _said(problem: Problem) -> str:
    if _is_unread(problem):
        return problem.what
    where = f"line {problem.line}" + (f", {problem.key}" if problem.key else "")
    return f"{where}: {problem.what}"
