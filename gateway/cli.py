"""The commands. Each reads its arguments, calls the room that does the work, and prints what came of it.

What a command needs is loaded by it: whoever asks for help does not wait for all of it.
"""

import argparse
import asyncio
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
    from gateway.commands.journal_of import Told
    from gateway.settings import DocumentError

FINE, FOUND_WRONG, USED_WRONGLY = 0, 1, 2
"""Exit statuses of every command but `run`."""

STOPPED, FAILED, ANOTHER_RUNS, WRONG_CONFIGURATION = 0, 70, 75, 78
"""Exit statuses of `run`: stopped by its operator; a fault of its own (EX_SOFTWARE of sysexits.h); another gateway
runs with the same files, or another hub with the same login (EX_TEMPFAIL); what only a change of the station file or
the policy can mend (EX_CONFIG), after which alone a service should not start it again."""

WHEN = "30d, 12h, today, a date, a time, or two of these with / between (default: %(default)s)"

NOT_A_DISTRESS_WATCH = (
    "Not a distress watch: emergencies are shown first and never held back by a rate, and that promises nothing."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the value is the exit status."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # what the terminal has no character for is escaped
    options = _read(sys.argv[1:] if arguments is None else arguments)
    try:
        status: int = options.command(options)
        if sys.stdout is not None:  # it is None where the descriptor was closed at the start
            sys.stdout.flush()
    except BrokenPipeError:  # whoever read this has had enough: what is still buffered goes nowhere
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FINE
    except KeyboardInterrupt:
        if options.command is not _run:
            raise
        return STOPPED  # while it was loaded: once it runs, the signal is its order to stop
    except Exception as error:
        from gateway.settings import DocumentError  # noqa: PLC0415 - help is said without it

        if not isinstance(error, DocumentError):
            raise
        _say_problems(error, as_json=getattr(options, "json", False))
        return FOUND_WRONG
    return status


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

    run = commands.add_parser("run", help="run the gateway")
    run.add_argument("station", type=Path, metavar="STATION", help="the station file")
    run.add_argument("--log", choices=["text", "json"], help="how a line is written (default: text on a terminal)")
    run.set_defaults(command=_run)

    check = commands.add_parser("check", help="check a station file, its policy and the policy's examples")
    check.add_argument("station", type=Path, metavar="STATION", help="the station file")
    check.add_argument("--strict", action="store_true", help="exit 1 where there is a warning")
    check.add_argument("--json", action="store_true", help="print one JSON object")
    check.set_defaults(command=_check)

    explain = commands.add_parser("explain", help="say what would become of a frame, and why")
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
    explain.set_defaults(command=_explain)

    watch = commands.add_parser("watch", help="show the live state of a running gateway in the terminal")
    watch.add_argument("station", type=Path, metavar="STATION", help="the station file, with its `web:`")
    watch.add_argument("--once", action="store_true", help="print it once; exit 1 where not every part is ok")
    watch.add_argument("--json", action="store_true", help="print each event as one JSON object a line")
    watch.set_defaults(command=_watch)

    _add_panel(commands.add_parser("panel", help="keep the picture of a running gateway on a small screen"))

    setup = commands.add_parser("setup", help="ask for what a station file needs, try it, and write it")
    setup.add_argument("folder", type=Path, nargs="?", metavar="FOLDER", help="a new folder (default: stile-station)")
    setup.add_argument("--answers", type=Path, metavar="FILE", help="read the answers from a file, and ask nothing")
    setup.set_defaults(command=_setup)

    doctor = commands.add_parser(
        "doctor",
        help="say what is wrong outside the station file, and what to do",
        description="Looks at everything outside the station file, for 45 s at most. Each line is ok, look or wrong,"
        " with what to do; exit 1 where something is wrong.",
    )
    doctor.add_argument("station", type=Path, metavar="STATION", help="the station file")
    doctor.add_argument("--time", metavar="HOST", help="a time server to compare the clock with, as HOST or HOST:PORT")
    form = doctor.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print one JSON object")
    form.add_argument("--report", action="store_true", help="print one text that is safe to show to others")
    doctor.set_defaults(command=_doctor)

    _add_who(commands.add_parser("who", help="say who was heard, or what is known of one station"))
    _add_reach(commands.add_parser("reach", help="say how far the antenna hears, and whether that has changed"))

    _add_forget(commands.add_parser("forget", help="take one station's history out of all that is kept"))

    _add_replay(commands.add_parser("replay", help="judge what was heard again, by one policy or two"))

    changes = commands.add_parser("changes", help="say what changed from version to version")
    changes.add_argument("--since", metavar="VERSION", help="only what came after this version")
    changes.set_defaults(command=_changes)

    completion = commands.add_parser("completion", help="print what a shell reads to complete the commands")
    completion.add_argument("shell", choices=usage.SHELLS, help="the shell")
    completion.set_defaults(command=_completion)

    manual = commands.add_parser("manual", help="print the manual page: `stile manual | man -l -`")
    manual.set_defaults(command=_manual)
    return parser, commands.choices


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
    replay.set_defaults(command=_replay)


def _add_who(who: argparse.ArgumentParser) -> None:
    who.description = "Asks the journal alone, whether the gateway runs or not."
    who.add_argument("station", type=Path, metavar="STATION", help="the station file, with its `journal:`")
    who.add_argument("call", nargs="?", metavar="CALL", help="all that is known of this station")
    who.add_argument("--since", default="1d", metavar="WHEN", help=WHEN)
    who.add_argument("--post", metavar="NAME", help="at a hub of a club: only what this post heard")
    _add_forms(who)
    who.set_defaults(command=_who)


def _add_reach(reach: argparse.ArgumentParser) -> None:
    reach.description = (
        "Asks the journal alone, whether the gateway runs or not. What counts is a station's own position, heard "
        "without a repeater. What was heard in the last ten minutes may be missing. At a hub of a club distances are "
        "from the post that heard each frame."
    )
    reach.add_argument("station", type=Path, metavar="STATION", help="the station file, with its `journal:`")
    reach.add_argument("--since", default="30d", metavar="WHEN", help=WHEN)
    reach.add_argument("--post", metavar="NAME", help="at a hub of a club: of this post alone, while frames are kept")
    reach.add_argument("--against", metavar="WHEN", help="compare with this period; 30d: the 30 days before the first")
    _add_forms(reach)
    reach.set_defaults(command=_reach)


def _add_forget(forget: argparse.ArgumentParser) -> None:
    forget.description = (
        "Takes a station out of the journal and its sums, the captures and the broker's retained topics, for good. "
        "Counts without a name stay, and so does what others sent to it. Stop the gateway first."
    )
    forget.add_argument("station", type=Path, metavar="STATION", help="the station file")
    forget.add_argument("call", metavar="CALL", help="the station to forget, with its SSID, as QA1BCD-9")
    forget.add_argument("--json", action="store_true", help="print one JSON object")
    forget.set_defaults(command=_forget)


def _add_forms(parser: argparse.ArgumentParser) -> None:
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print one JSON object")
    form.add_argument("--csv", action="store_true", help="print a table, as CSV")


def _add_panel(panel: argparse.ArgumentParser) -> None:
    panel.description = (
        "Shows the last station, or its weather, and how the gateway is, until it is ended. "
        "An emergency takes the whole."
    )
    panel.add_argument("station", type=Path, metavar="STATION", help="the station file, with its `web:`")
    where = panel.add_mutually_exclusive_group(required=True)
    where.add_argument("--framebuffer", type=Path, metavar="DEVICE", help="draw on it: /dev/fb1; it tells its own size")
    where.add_argument("--file", type=Path, metavar="FILE", help="write it there, as .png or .svg")
    panel.add_argument("--width", type=int, metavar="PIXELS", help="of the file's picture (default: 320)")
    panel.add_argument("--height", type=int, metavar="PIXELS", help="of the file's picture (default: 240)")
    panel.add_argument("--colours", choices=["full", "2"], default="full", help="2: for ink and small lamps")
    panel.add_argument("--ground", choices=["dark", "light"], default="dark", help="what is written on")
    panel.add_argument("--once", action="store_true", help="show it once; exit 1 where the gateway does not answer")
    panel.set_defaults(command=_panel)


def _run(options: argparse.Namespace) -> int:
    gc.disable()  # loading leaves no garbage, and looking for it takes a tenth of the time
    try:
        from gateway import settings  # noqa: PLC0415 - the other commands need no broker and no network
        from gateway.groundwork import log  # noqa: PLC0415 - the other commands need no broker and no network
        from gateway.running import service  # noqa: PLC0415 - the other commands need no broker and no network
        from gateway.running.lock import LockHeldError  # noqa: PLC0415 - likewise
        from gateway.settings import DocumentError  # noqa: PLC0415 - likewise
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
    from gateway.commands import checking  # noqa: PLC0415 - loaded by the command that needs it

    report = checking.check_station(options.station)
    if options.json:
        print(json.dumps(report.to_object(), indent=2))
    else:
        for problem in (*report.problems, *report.warnings):
            print(problem.shown(), file=sys.stderr)
        print(report.in_words())
    if report.problems or (options.strict and report.warnings):
        return FOUND_WRONG
    return FINE


def _explain(options: argparse.Namespace) -> int:
    from gateway.commands import explaining  # noqa: PLC0415 - loaded by the command that needs it

    try:
        asked = explaining.Explaining(options.policy, options.station, options.receiver)
    except explaining.NoPolicyError as error:
        print(error, file=sys.stderr)
        return USED_WRONGLY
    if options.frame != "-":
        explained = asked.explain(options.frame.encode("utf-8", "surrogateescape").rstrip(b"\r\n"))
        print(json.dumps(explained.to_object(), indent=2) if options.json else explained.in_words())
        return FINE if explained.readable else FOUND_WRONG
    count = unreadable = 0
    for line in explaining.lines_of(sys.stdin.buffer):
        explained = asked.explain(line)
        between = "\n" if count and not options.json else ""
        print(between + (json.dumps(explained.to_object()) if options.json else explained.in_words()))
        count += 1
        unreadable += not explained.readable
    return FINE if count and not unreadable else FOUND_WRONG


def _watch(options: argparse.Namespace) -> int:
    try:
        from gateway.commands.watching import watch  # noqa: PLC0415 - loaded by the command that needs it

        if options.once:
            return FINE if watch.once(options.station, sys.stdout, as_json=options.json) else FOUND_WRONG
        watch.follow(options.station, sys.stdout, as_json=options.json)
    except KeyboardInterrupt:
        return FOUND_WRONG if options.once else FINE
    return FINE


def _panel(options: argparse.Namespace) -> int:
    from gateway.commands.panel import request, screen, show  # noqa: PLC0415 - loaded by the command that needs it

    asked = request.PanelRequest(
        options.framebuffer, options.file, options.width, options.height, options.colours, options.ground
    )
    if asked.misuse is not None:
        print(asked.misuse, file=sys.stderr)
        return USED_WRONGLY
    try:
        with asked.opened() as drawn_on:
            if options.once:
                return FINE if show.once(options.station, drawn_on) else FOUND_WRONG
            show.follow(options.station, drawn_on)
    except KeyboardInterrupt:
        return FOUND_WRONG if options.once else FINE
    except screen.ScreenError as error:
        print(error, file=sys.stderr)
        return FOUND_WRONG
    return FINE


def _setup(options: argparse.Namespace) -> int:
    from gateway.setup.console import LeftError, TerminalConsole  # noqa: PLC0415 - loaded by the command that needs it
    from gateway.setup.setup import FOLDER, SetupError, set_up  # noqa: PLC0415 - loaded by the command that needs it

    if options.answers is None and not sys.stdin.isatty():
        print("there is no terminal to ask at: give the answers in a file, --answers FILE", file=sys.stderr)
        return USED_WRONGLY
    try:
        set_up(options.folder or FOLDER, TerminalConsole(), options.answers)
    except SetupError as error:
        print(error, file=sys.stderr)
        return FOUND_WRONG
    except (LeftError, KeyboardInterrupt):
        print("\nLeft: nothing was written.", file=sys.stderr)
        return FOUND_WRONG
    return FINE


def _doctor(options: argparse.Namespace) -> int:
    from gateway.doctor.doctor import diagnose  # noqa: PLC0415 - loaded by the command that needs it
    from gateway.doctor.report import in_report  # noqa: PLC0415 - loaded by the command that needs it

    if sys.stderr.isatty():
        print("Each decoder is heard for up to 10 s; all is told within 45 s.", file=sys.stderr)
    try:
        diagnosis = diagnose(options.station, time_host=options.time)
    except KeyboardInterrupt:
        return FOUND_WRONG
    if options.json:
        print(json.dumps(diagnosis.to_object(), indent=2))
    else:
        print(in_report(diagnosis) if options.report else diagnosis.in_words())
    return FOUND_WRONG if diagnosis.is_wrong else FINE


def _who(options: argparse.Namespace) -> int:
    from gateway.commands import who  # noqa: PLC0415 - loaded by the command that needs it

    if options.call is None:
        return _tell(options, lambda: who.who(options.station, options.since, options.post))
    return _tell(options, lambda: who.who_is(options.station, options.call, options.since, options.post))


def _reach(options: argparse.Namespace) -> int:
    from gateway.commands import reaching  # noqa: PLC0415 - loaded by the command that needs it

    return _tell(options, lambda: reaching.reach(options.station, options.since, options.against, options.post))


def _forget(options: argparse.Namespace) -> int:
    from gateway import settings  # noqa: PLC0415 - loaded by the command that needs it
    from gateway.commands import forgetting  # noqa: PLC0415 - loaded by the command that needs it
    from gateway.commands.journal_of import AskedWronglyError, callsign_of  # noqa: PLC0415 - likewise
    from gateway.running.lock import LockHeldError, files_of, held  # noqa: PLC0415 - likewise

    station = settings.load(options.station)
    try:
        callsign = callsign_of(options.call)
        with held(files_of(station)):
            forgotten = forgetting.forget(station, callsign)
    except AskedWronglyError as error:
        print(error, file=sys.stderr)
        return USED_WRONGLY
    except LockHeldError as error:
        print(error, file=sys.stderr)
        return FOUND_WRONG
    print(json.dumps(forgotten.to_object(), indent=2) if options.json else forgotten.in_words())
    return FOUND_WRONG if forgotten.trouble else FINE


def _tell(options: argparse.Namespace, ask: Callable[[], "Told"]) -> int:
    """Print what the journal tells, in the form that was asked for."""
    from gateway.commands.journal_of import AskedWronglyError  # noqa: PLC0415 - loaded by the command that needs it
    from gateway.commands.who import as_csv  # noqa: PLC0415 - loaded by the command that needs it

    try:
        answer = ask()
    except AskedWronglyError as error:
        print(error, file=sys.stderr)
        return USED_WRONGLY
    if options.csv:
        print(as_csv(answer.rows()), end="")
    else:
        print(json.dumps(answer.to_object(), indent=2) if options.json else answer.in_words())
    return FINE


def _replay(options: argparse.Namespace) -> int:
    from gateway.commands import replaying  # noqa: PLC0415 - loaded by the command that needs it

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
    if request.misuse is not None:
        print(request.misuse, file=sys.stderr)
        return USED_WRONGLY
    return FINE if replaying.Replaying(request).run(sys.stdout) else FOUND_WRONG


def _changes(options: argparse.Namespace) -> int:
    from gateway.commands import changes  # noqa: PLC0415 - loaded by the command that needs it

    try:
        print(changes.changes(options.since))
    except changes.UnknownVersionError as error:
        print(error, file=sys.stderr)
        return FOUND_WRONG
    return FINE


def _completion(options: argparse.Namespace) -> int:
    return _print_made(lambda parser: usage.completion(parser, options.shell))


def _manual(_: argparse.Namespace) -> int:
    return _print_made(usage.manual)


def _print_made(make: Callable[[argparse.ArgumentParser], str]) -> int:
    """Print what is made from the parser of the commands."""
    try:
        print(make(parsers()[0]), end="")
    except usage.ExtraMissingError as error:
        print(error, file=sys.stderr)
        return FOUND_WRONG
    return FINE


def _say_problems(error: "DocumentError", *, as_json: bool) -> None:
    if as_json:
        print(json.dumps({"problems": [problem.to_object() for problem in error.problems]}, indent=2))
    else:
        for problem in error.problems:
            print(problem.shown(), file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
