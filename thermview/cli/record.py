"""`thermview record`: from a camera or a simulated board into a file."""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Iterable
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING

from thermview.cli.options import add_force, add_format, add_input, open_options, print_json
from thermview.cli.options import progress as progress_bar
from thermview.errors import DeviceError, SourceError, UsageError

if TYPE_CHECKING:
    from thermview.regions import RegionSet
    from thermview.session.losses import Losses
    from thermview.session.recorder import RecordingSummary
    from thermview.session.session import Session
    from thermview.session.states import SessionEvent
    from thermview.session.triggers import TriggerRule

POLL_S = 0.02
ZERO_S = 1.0
RETRY_S = 0.2  # how often to look whether a camera that was unplugged is back


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    add_input(parser, "input")
    parser.add_argument("out", type=Path, metavar="OUT", help="the recording to write, .h5")
    parser.add_argument(
        "--seconds", type=float, metavar="S", help="how long; else until Ctrl-C or the input's end"
    )
    parser.add_argument("--layout", metavar="NAME", help="the camera's stream layout")
    parser.add_argument("--seed", type=int, metavar="N", help="of a simulated board")
    parser.add_argument("--speed", type=float, metavar="X", help="of a simulated board or a file")
    group = parser.add_argument_group("recording by a trigger")
    group.add_argument("--regions", type=Path, metavar="R.json", help="regions that triggers name")
    group.add_argument(
        "--trigger",
        action="append",
        default=[],
        metavar="RULE",
        help='begins the recording, such as "U3 max above 60 C for 0.5 s" or "picture departs by '
        '5 sigma"; "… then stop recording" ends it; rises count from the first second; '
        "may be given again",
    )
    group.add_argument(
        "--pre-trigger", type=float, default=0.0, metavar="S", help="seconds kept from before it"
    )
    add_format(parser)
    add_force(parser)


def run(options: argparse.Namespace) -> int:
    """Record, then say what was got and what was lost."""
    _check(options)
    from thermview.regions import RegionSet, load_regions
    from thermview.session.boards import board_of
    from thermview.session.session import Session
    from thermview.session.states import SessionState as State
    from thermview.sources import open_source, reopener

    regions = load_regions(options.regions) if options.regions else RegionSet()
    rules = _rules(options.trigger, regions)
    wanted = open_options(options)
    source = open_source(options.input, wanted)
    _remark(source.info.notes)
    session = Session.live(source, reopen=reopener(source, options.input, wanted), retry_s=RETRY_S)
    try:
        board = board_of(source)
        if board is not None and board.texts is not None:
            session.set_board(*board.texts)
        session.set_regions(regions)
        if rules:
            session.set_recording_place(lambda: options.out, options.pre_trigger, options.force)
            session.set_triggers(rules)
        else:
            session.start_recording(options.out, force=options.force)
        session.start()
        stopped = _wait(session, options.seconds, rules)
        summary = session.stop_recording() or session.last_recording
        losses, state, trouble = session.losses, session.state, session.trouble
        _remark(_news(session))
    finally:
        session.close()
    if summary is None:
        return _tell_nothing(options, stopped)
    _tell(options, summary, losses)
    if summary.trouble or (trouble and not stopped):
        kind = DeviceError if state in (State.STALLED, State.RECONNECTING) else SourceError
        raise kind(f"{summary.trouble or trouble}; {summary.path} keeps what came before")
    return 130 if stopped and options.seconds is not None else 0


def _rules(texts: list[str], regions: RegionSet) -> tuple[TriggerRule, ...]:
    """Return the rules; one that neither begins nor ends a recording begins it."""
    from thermview.session.triggers import Action, parse_trigger

    known = [region.name for region in regions.regions]
    rules = []
    for text in texts:
        rule = parse_trigger(text)
        if rule.region is not None and rule.region not in known:
            there = f"there are {', '.join(known)}" if known else "give them with --regions"
            raise UsageError(f"--trigger {text!r} names no region that is known; {there}")
        if not {Action.START_RECORDING, Action.STOP_RECORDING} & set(rule.actions):
            rule = replace(rule, actions=(*rule.actions, Action.START_RECORDING))
        rules.append(rule)
    return tuple(rules)


def _tell_nothing(options: argparse.Namespace, stopped: bool) -> int:
    if options.format == "json":
        print_json({"frames": 0})
    else:
        print("no trigger fired; nothing was recorded")
    return 130 if stopped else 0


def _tell(options: argparse.Namespace, summary: RecordingSummary, losses: Losses) -> None:
    facts = asdict(summary) | {"path": str(summary.path), "losses": asdict(losses)}
    if options.format == "json":
        print_json(facts)
    else:
        lost = losses.queue_dropped + losses.source_lost + summary.dropped
        print(
            f"{summary.path}: {summary.frames} frames, {summary.seconds:.2f} s, lost {lost}, "
            f"late {losses.late}, damaged {losses.damaged}, repeated {losses.repeated}"
        )


def _check(options: argparse.Namespace) -> None:
    if options.seconds is not None and not options.seconds > 0:
        raise UsageError(f"--seconds is {options.seconds:g}; it must be above 0")
    if options.pre_trigger < 0:
        raise UsageError(f"--pre-trigger is {options.pre_trigger:g} s; it must not be negative")


def _wait(session: Session, seconds: float | None, rules: tuple[TriggerRule, ...]) -> bool:
    """Wait for the asked length or the input's end; return True when the user stopped it."""
    zeroed = not rules
    until_s = time.monotonic() + (seconds if seconds is not None else math.inf)
    try:
        with progress_bar("recording") as told:
            while not session.wait(POLL_S):
                _remark(_news(session))
                if session.trouble and time.monotonic() > until_s:
                    return False  # the camera did not come back in the time asked for
                times_s = session.footage.times_s
                if not zeroed and len(times_s) and times_s[-1] - times_s[0] >= ZERO_S:
                    session.zero_now(float(times_s[-1]), ZERO_S)
                    zeroed = True
                status = session.recording
                if status is None:
                    if session.last_recording is not None:
                        return False  # a trigger ended it
                    continue
                told(*_share(status.seconds, status.frames, seconds))
                if seconds is not None and status.seconds >= seconds:
                    return False
    except KeyboardInterrupt:
        return True
    return False


def _news(session: Session) -> list[str]:
    """Return what the user should hear of: a silent or lost camera, and what it did."""
    return [event.text for event in session.take_events() if _matters(event)]


def _matters(event: SessionEvent) -> bool:
    from thermview.session.states import EventKind

    return event.kind in (EventKind.STATE, EventKind.WARNING) and bool(event.text)


def _remark(lines: Iterable[str]) -> None:
    for line in lines:
        print(f"thermview: {line}", file=sys.stderr)


def _share(done_s: float, frames: int, seconds: float | None) -> tuple[int, int]:
    return (frames, frames) if seconds is None else (int(done_s * 1000), int(seconds * 1000))
