"""The commands. Each reads its arguments, calls the room that does the work, and prints what came of it.

What a command needs is loaded by it: whoever asks for help does not wait for all of it.
"""

import argparse
import asyncio
import errno
import gc
import io
import json
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from gateway import __version__
from gateway.commands import usage
from gateway.commands.usage import PolicyName

if TYPE_CHECKING:
    from gateway.commands.answer import CommandAnswer, TableAnswer
    from gateway.settings import DocumentError

FINE, FOUND_WRONG, USED_WRONGLY = 0, 1, 2
"""Exit statuses of every command but `run`."""

STOPPED, FAILED, ANOTHER_RUNS, WRONG_CONFIGURATION = 0, 70, 75, 78
"""Exit statuses of `run`: stopped by its operator; a fault of its own (EX_SOFTWARE of sysexits.h); another gateway
runs with the same files, or another hub with the same login (EX_TEMPFAIL); what only a change of the station file or
the policy can mend (EX_CONFIG), after which alone a service should not start it again."""

_NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO})
"""What a system says where a file, into which is printed, takes no more."""

WHEN = "30d, 12h, today, a date, a time, or two of these with / between (default: %(default)s)"

NOT_A_DISTRESS_WATCH = (
    "Not a distress watch: emergencies are shown first and never held back by a rate, and that promises nothing."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the value is the exit status."""
    _stand_in_for_closed_streams()
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # what the terminal has no character for is escaped
    options = _read(sys.argv[1:] if arguments is None else arguments)
    try:
        status: int = options.command(options)
        sys.stdout.flush()
    except KeyboardInterrupt:
        if (status_when_interrupted := _status_when_interrupted(options)) is None:
            raise
        return status_when_interrupted
    except usage.CommandError as error:
        print(error, file=sys.stderr)
        return USED_WRONGLY if isinstance(error, usage.AskedWronglyError) else FOUND_WRONG
    except OSError as error:
        return _status_when_unprinted(error)
    except Exception as error:
        from gateway.settings import DocumentError

        if not isinstance(error, DocumentError):
            raise
        _say_problems(error, as_json=getattr(options, "json", False))
        return FOUND_WRONG
    return status


def _stand_in_for_closed_streams() -> None:
    """What was closed at the start reads as empty, and takes whatever is printed; no socket takes its number."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115 - it stays open


def _status_when_interrupted(options: argparse.Namespace) -> int | None:
    """The exit status after Ctrl-C; None: it ends the process as it does any other."""
    if options.command in {_run, _watch, _panel} and not getattr(options, "once", False):
        return STOPPED  # it goes on until then; `run` comes here only while it is loaded
    return FOUND_WRONG if options.command in {_watch, _panel, _doctor} else None


def _status_when_unprinted(error: OSError) -> int:
    """The exit status where whoever read what is printed has had enough, or no room is left for it.

    Raises every other error.
    """
    has_had_enough = isinstance(error, BrokenPipeError)
    if not has_had_enough and (error.errno not in _NO_ROOM or error.filename is not None):
        raise error
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what is still buffered goes nowhere
    if has_had_enough:
        return FINE
    print(f"what was to be printed cannot be written: {error.strerror}", file=sys.stderr)
    return FOUND_WRONG


def _read(arguments: Sequence[str]) -> argparse.Namespace:
    """What was asked for. Leaves with 2 where that is no command, or not how it is used."""
    parser, commands = parsers()
    wrong = usage.what_is_wrong(arguments, commands)
    if wrong is not None:
        parser.error(wrong)
    if not arguments:
        parser.print_help(sys.stderr)
        parser.exit(USED_WRONGLY)
    return parser.parse_args(arguments)


def parsers() -> tuple[argparse.ArgumentParser, Mapping[str, argparse.ArgumentParser]]:
    """What reads the arguments, and what reads those of each command, by its name."""
    parser = argparse.ArgumentParser(
        prog="stile",
        description=(
            "The gateway between a radio decoder, the position-reporting network and the house."
            " Begin with `stile setup`."
        ),
        epilog=NOT_A_DISTRESS_WATCH,
    )
    parser.add_argument("-V", "--version", action="version", version=f"stile {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def add(name: str, run: Callable[[argparse.Namespace], int], what: str) -> argparse.ArgumentParser:
        command = commands.add_parser(name, help=what)
        command.set_defaults(command=run)
        return command

    _add_run(add("run", _run, "run the gateway"))
    _add_check(add("check", _check, "check a station file, its policy and the policy's examples"))
    _add_explain(add("explain", _explain, "say what would become of a frame, and why"))
    _add_watch(add("watch", _watch, "show the live state of a running gateway in the terminal"))
    _add_panel(add("panel", _panel, "keep the picture of a running gateway on a small screen"))
    _add_setup(add("setup", _setup, "ask for what a station file needs, try it, and write it"))
    _add_doctor(add("doctor", _doctor, "say what is wrong outside the station file, and what to do"))
    _add_who(add("who", _who, "say who was heard, or what is known of one station"))
    _add_reach(add("reach", _reach, "say how far the antenna hears, and whether that has changed"))
    _add_forget(add("forget", _forget, "take one station's history out of all that is kept"))
    _add_replay(add("replay", _replay, "judge what was heard again, by one policy or two"))
    changes = add("changes", _changes, "say what changed from version to version")
    changes.add_argument("--since", metavar="VERSION", help="only what came after this version")
    completion = add("completion", _completion, "print what a shell reads to complete the commands")
    completion.add_argument("shell", choices=usage.SHELLS, help="the shell")
    add("manual", _manual, "print the manual page: `stile manual | man -l -`")
    return parser, commands.choices


def _add_station(command: argparse.ArgumentParser, what: str = "the station file") -> None:
    command.add_argument("station", type=Path, metavar="STATION", help=what)


def _add_forms(command: argparse.ArgumentParser) -> None:
    form = command.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print one JSON object")
    form.add_argument("--csv", action="store_true", help="print a table, as CSV")


def _add_run(run: argparse.ArgumentParser) -> None:
    _add_station(run)
    run.add_argument("--log", choices=["text", "json"], help="how a line is written (default: text on a terminal)")


def _add_check(check: argparse.ArgumentParser) -> None:
    _add_station(check)
    check.add_argument("--strict", action="store_true", help="exit 1 where there is a warning")
    check.add_argument("--json", action="store_true", help="print one JSON object")


def _add_explain(explain: argparse.ArgumentParser) -> None:
    explain.description = (
        "FRAME is what one would paste: a TNC-2 line, with a time or a receiver before it or not, or a heard object. "
        "Of many lines on standard input each is judged with those before it in mind."
    )
    explain.add_argument("frame", metavar="FRAME", help="the frame; - reads lines from standard input")
    explain.add_argument(
        "--policy", type=PolicyName, help="a ready policy's name, or a policy file (default: the station file's)"
    )
    explain.add_argument("--station", type=Path, help="the station file: its callsign and position count")
    explain.add_argument("--receiver", default="example", help="the receiver that heard it (default: example)")
    explain.add_argument(
        "--json", action="store_true", help="print the heard object with its steps; of many, one a line"
    )


def _add_watch(watch: argparse.ArgumentParser) -> None:
    _add_station(watch, "the station file, with its `web:`")
    watch.add_argument("--once", action="store_true", help="print it once; exit 1 where not every part is ok")
    watch.add_argument("--json", action="store_true", help="print each event as one JSON object a line")


def _add_panel(panel: argparse.ArgumentParser) -> None:
    panel.description = (
        "Shows the last station, or its weather, and how the gateway is, until it is ended. "
        "An emergency takes the whole."
    )
    _add_station(panel, "the station file, with its `web:`")
    where = panel.add_mutually_exclusive_group(required=True)
    where.add_argument("--framebuffer", type=Path, metavar="DEVICE", help="draw on it: /dev/fb1; it tells its own size")
    where.add_argument("--file", type=Path, metavar="FILE", help="write it there, as .png or .svg")
    panel.add_argument("--width", type=int, metavar="PIXELS", help="of the file's picture (default: 320)")
    panel.add_argument("--height", type=int, metavar="PIXELS", help="of the file's picture (default: 240)")
    panel.add_argument("--colours", choices=["full", "2"], default="full", help="2: for ink and small lamps")
    panel.add_argument("--ground", choices=["dark", "light"], default="dark", help="what is written on")
    panel.add_argument("--once", action="store_true", help="show it once; exit 1 where the gateway does not answer")


def _add_setup(setup: argparse.ArgumentParser) -> None:
    setup.add_argument("folder", type=Path, nargs="?", metavar="FOLDER", help="a new folder (default: stile-station)")
    setup.add_argument("--answers", type=Path, metavar="FILE", help="read the answers from a file, and ask nothing")


def _add_doctor(doctor: argparse.ArgumentParser) -> None:
    doctor.description = (
        "Looks at everything outside the station file, for 45 s at most. Each line is ok, look or wrong,"
        " with what to do; exit 1 where something is wrong."
    )
    _add_station(doctor)
    doctor.add_argument("--time", metavar="HOST", help="a time server to compare the clock with, as HOST or HOST:PORT")
    form = doctor.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print one JSON object")
    form.add_argument("--report", action="store_true", help="print one text that is safe to show to others")


def _add_who(who: argparse.ArgumentParser) -> None:
    who.description = "Asks the journal alone, whether the gateway runs or not."
    _add_station(who, "the station file, with its `journal:`")
    who.add_argument("call", nargs="?", metavar="CALL", help="all that is known of this station")
    who.add_argument("--since", default="1d", metavar="WHEN", help=WHEN)
    who.add_argument("--post", metavar="NAME", help="at a hub of a club: only what this post heard")
    _add_forms(who)


def _add_reach(reach: argparse.ArgumentParser) -> None:
    reach.description = (
        "Asks the journal alone, whether the gateway runs or not. What counts is a station's own position, heard "
        "without a repeater. What was heard in the last ten minutes may be missing. At a hub of a club distances are "
        "from the post that heard each frame."
    )
    _add_station(reach, "the station file, with its `journal:`")
    reach.add_argument("--since", default="30d", metavar="WHEN", help=WHEN)
    reach.add_argument("--post", metavar="NAME", help="at a hub of a club: of this post alone, while frames are kept")
    reach.add_argument("--against", metavar="WHEN", help="compare with this period; 30d: the 30 days before the first")
    _add_forms(reach)


def _add_forget(forget: argparse.ArgumentParser) -> None:
    forget.description = (
        "Takes a station out of the journal and its sums, the captures and the broker's retained topics, for good. "
        "Counts without a name stay, and so does what others sent to it. Stop the gateway first."
    )
    _add_station(forget)
    forget.add_argument("call", metavar="CALL", help="the station to forget, with its SSID, as QA1BCD-9")
    forget.add_argument("--json", action="store_true", help="print one JSON object")


def _add_replay(replay: argparse.ArgumentParser) -> None:
    replay.description = (
        "Judges what captures, recordings of the bus (mosquitto_sub, with -v or without) and the journal hold, or "
        "lines of TNC-2 text as TIME LINE or TIME RECEIVER LINE, where TIME is an RFC 3339 time or Unix seconds. "
        "Which it is, and whether it is compressed with gzip or zstd, is told by the content; - reads standard input."
    )
    replay.add_argument("captures", type=Path, nargs="+", metavar="CAPTURE", help="what to read, one after the other")
    replay.add_argument("--policy", type=PolicyName, required=True, help="a ready policy's name, or a policy file")
    replay.add_argument("--against", type=PolicyName, help="another policy: say which frames differ")
    replay.add_argument("--station", type=Path, help="the station file: its callsign and position count")
    replay.add_argument("--advise", action="store_true", help="say what the policy could do better, and try it")
    replay.add_argument("--csv", type=Path, metavar="FILE", help="write a row for each frame, or each that differs")
    replay.add_argument("--json", action="store_true", help="print one JSON object, every frame that differs in it")
    replay.add_argument("--top", type=int, default=20, metavar="N", help="groups of frames that differ (default: 20)")


def _run(options: argparse.Namespace) -> int:
    gc.disable()  # loading leaves no garbage, and looking for it takes a tenth of the time
    try:
        from gateway import settings
        from gateway.groundwork import log
        from gateway.running import service
        from gateway.running.lock import LockHeldError
        from gateway.settings import DocumentError
    finally:
        gc.freeze()  # what was loaded stays
        gc.enable()
    form = log.LogForm(options.log) if options.log else None
    with log.opened(form) as writer:
        try:
            asyncio.run(service.run(settings.load(options.station), parts=[writer]))
        except DocumentError as error:
            for problem in error.problems:  # one line each, as in any log
                writer.write(f"{problem}\n")
            return WRONG_CONFIGURATION
        except LockHeldError as error:
            writer.write(f"{error}\n")
            return ANOTHER_RUNS
        except Exception as error:  # noqa: BLE001 - Python would print it to where nobody may be reading, and wait
            log.say_fatal(error)
            return FAILED
    return STOPPED


def _check(options: argparse.Namespace) -> int:
    from gateway.commands import checking

    report = checking.check_station(options.station)
    if not options.json:
        for problem in (*report.problems, *report.warnings):
            print(problem.shown(), file=sys.stderr)
    _tell(report, as_json=options.json)
    return FOUND_WRONG if report.problems or (options.strict and report.warnings) else FINE


def _explain(options: argparse.Namespace) -> int:
    from gateway.commands import explaining

    explaining_frames = explaining.Explaining(options.policy, options.station, options.receiver)
    if options.frame != "-":
        explained = explaining_frames.explain(options.frame.encode("utf-8", "surrogateescape").rstrip(b"\r\n"))
        _tell(explained, as_json=options.json)
        return FINE if explained.readable else FOUND_WRONG
    count = unreadable = 0
    for line in explaining.lines_of(sys.stdin.buffer):
        explained = explaining_frames.explain(line)
        between = "\n" if count and not options.json else ""
        print(between + (json.dumps(explained.to_object()) if options.json else explained.in_words()))
        count += 1
        unreadable += not explained.readable
    return FINE if count and not unreadable else FOUND_WRONG


def _watch(options: argparse.Namespace) -> int:
    from gateway.commands.watching import watch

    if options.once:
        return FINE if watch.once(options.station, sys.stdout, as_json=options.json) else FOUND_WRONG
    watch.follow(options.station, sys.stdout, as_json=options.json)
    return FINE


def _panel(options: argparse.Namespace) -> int:
    from gateway.commands.panel import request, show

    size = (options.width, options.height)
    with request.opened(options.framebuffer, options.file, size, options.colours, options.ground) as screen:
        if options.once:
            return FINE if show.once(options.station, screen) else FOUND_WRONG
        show.follow(options.station, screen)
    return FINE


def _setup(options: argparse.Namespace) -> int:
    from gateway.setup.console import Console, LeftError
    from gateway.setup.setup import FOLDER, SetupError, set_up

    if options.answers is None and not sys.stdin.isatty():
        raise usage.AskedWronglyError("there is no terminal to ask at: give the answers in a file, --answers FILE")
    try:
        set_up(options.folder or FOLDER, Console(), options.answers)
    except SetupError as error:
        raise usage.CommandError(error) from None
    except (LeftError, KeyboardInterrupt):
        raise usage.CommandError("\nLeft: nothing was written.") from None
    return FINE


def _doctor(options: argparse.Namespace) -> int:
    from gateway.doctor.doctor import diagnose
    from gateway.doctor.report import in_report

    if sys.stderr.isatty():
        print("Each decoder is heard for up to 10 s; all is told within 45 s.", file=sys.stderr)
    diagnosis = diagnose(options.station, time_host=options.time)
    if options.report:
        print(in_report(diagnosis))
    else:
        _tell(diagnosis, as_json=options.json)
    return FOUND_WRONG if diagnosis.is_wrong else FINE


def _who(options: argparse.Namespace) -> int:
    from gateway.commands import who

    if options.call is None:
        return _tell_from_journal(who.who(options.station, options.since, options.post), options)
    return _tell_from_journal(who.who_is(options.station, options.call, options.since, options.post), options)


def _reach(options: argparse.Namespace) -> int:
    from gateway.commands import reaching

    reach = reaching.reach(options.station, options.since, options.against, options.post)
    return _tell_from_journal(reach, options)


def _forget(options: argparse.Namespace) -> int:
    from gateway import settings
    from gateway.commands import forgetting
    from gateway.commands.journal_of import callsign_of
    from gateway.running.lock import LockHeldError, files_of, held

    station = settings.load(options.station)
    callsign = callsign_of(options.call)
    try:
        with held(files_of(station)):
            forgotten = forgetting.forget(station, callsign)
    except LockHeldError as error:
        raise usage.CommandError(error) from None
    _tell(forgotten, as_json=options.json)
    return FOUND_WRONG if forgotten.trouble else FINE


def _replay(options: argparse.Namespace) -> int:
    from gateway.commands import replaying

    request = replaying.Request(
        captures=tuple(options.captures),
        policy=options.policy,
        against=options.against,
        station=options.station,
        advise=options.advise,
        csv=options.csv,
        as_json=options.json,
        top=max(options.top, 0),
    )
    return FINE if replaying.Replaying(request).run(sys.stdout) else FOUND_WRONG


def _changes(options: argparse.Namespace) -> int:
    from gateway.commands import changes

    print(changes.changes(options.since))
    return FINE


def _completion(options: argparse.Namespace) -> int:
    print(usage.completion(parsers()[0], options.shell), end="")
    return FINE


def _manual(_: argparse.Namespace) -> int:
    print(usage.manual(parsers()[0]), end="")
    return FINE


def _tell(answer: "CommandAnswer", *, as_json: bool) -> None:
    print(json.dumps(answer.to_object(), indent=2) if as_json else answer.in_words())


def _tell_from_journal(answer: "TableAnswer", options: argparse.Namespace) -> int:
    """Print what the journal tells, in the form that was asked for."""
    from gateway.commands.answer import as_csv

    if options.csv:
        print(as_csv(answer.rows()), end="")
    else:
        _tell(answer, as_json=options.json)
    return FINE


def _say_problems(error: "DocumentError", *, as_json: bool) -> None:
    if as_json:
        print(json.dumps({"problems": [problem.to_object() for problem in error.problems]}, indent=2))
    else:
        for problem in error.problems:
            print(problem.shown(), file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
