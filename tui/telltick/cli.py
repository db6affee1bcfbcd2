"""The command line: one short function per verb, composing the layers.

Exit codes: 0 done, 1 failed, 2 bad use or bad input.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import re
import shutil
import signal
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from telltick.model.errors import BadInputError, TelltickError
from telltick.model.text import plain_text
from telltick.options import build_parser

if TYPE_CHECKING:
    from telltick.engine.feed import SessionFeed
    from telltick.model.measurement import MeasuringOptions
    from telltick.model.plan import Settings


def main(argv: Sequence[str] | None = None) -> int:
    """Run one verb; every error ends in one line on stderr."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # its threads spin while they wait for so little work
    try:
        args = build_parser().parse_args(argv)
    except SystemExit as leave:
        return int(leave.code or 0)
    try:
        return VERBS[args.verb](args)
    except TelltickError as error:
        print(f"telltick: {plain_text(str(error), 1000)}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("telltick: stopped", file=sys.stderr)
        return 1
    except BrokenPipeError:
        sys.stderr.close()
        return 1


def _record(args: argparse.Namespace) -> int:
    """Record in this process until asked to stop."""
    from telltick.engine.opening import open_recorder
    from telltick.engine.recorder import StopSignal, record

    if args.dry_run:
        return _print_dry_run(args)
    _caution(args)
    stop = StopSignal()
    _on_signals(stop.set)
    recorder = open_recorder(args, stop)
    ending = record(recorder)
    print(f"recorded {ending.t_ns / 1e9:.1f} s into {recorder.folder}: {ending.how}")
    return 0


def _on_signals(tell: Callable[[str], None]) -> None:
    """Have signals end the recording cleanly; one that follows nohup goes on when its terminal is gone."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: tell("signal"))
    hang_up = getattr(signal, "SIGHUP", None)
    if hang_up is not None and signal.getsignal(hang_up) is not signal.SIG_IGN:
        signal.signal(hang_up, lambda _number, _frame: tell("signal"))


def _monitor(args: argparse.Namespace) -> int:
    from telltick.engine.live import LiveFeed
    from telltick.engine.opening import start_recorder

    if args.dry_run:
        return _print_dry_run(args)
    settings = _screen_settings(args)
    _need_terminal()
    if not _chosen_station(args, settings):
        return 0
    notice = "" if args.join else _caution(args)
    folder = args.join or start_recorder(args, settings)
    return _watch(LiveFeed(folder), settings, notice)


def _print_dry_run(args: argparse.Namespace) -> int:
    from telltick.engine.port_care import dry_run_text

    print(dry_run_text(args))
    return 0


def _caution(args: argparse.Namespace) -> str:
    """Say on stderr what opening the port can do; returns the same in short, nothing without a port."""
    from telltick.engine.port_care import port_with_lines, warnings
    from telltick.model.cautions import SERIAL_LINES, SERIAL_LINES_IN_SHORT

    for words in warnings(args):
        print(f"telltick: caution: {words}", file=sys.stderr, flush=True)
    if port_with_lines(args) is None:
        return ""
    print(f"telltick: caution: {SERIAL_LINES}", file=sys.stderr, flush=True)
    return SERIAL_LINES_IN_SHORT


def _demo(args: argparse.Namespace) -> int:
    from telltick.engine.live import LiveFeed
    from telltick.engine.opening import run_recorder, start_recorder

    args.bench = True
    if not args.no_screen:
        settings = _screen_settings(args)
        _need_terminal()
        return _watch(LiveFeed(start_recorder(args, settings)), settings)
    if args.seconds is None:
        raise BadInputError("demo --no-screen needs --seconds, or it would never end")
    return _print_measurement(run_recorder(args, _settings(args)), as_json=args.json)


def _replay(args: argparse.Namespace) -> int:
    from telltick.engine.replay import SavedFeed
    from telltick.progress import ProgressBar

    settings = _screen_settings(args)
    with ProgressBar("opening") as progress:
        feed = SavedFeed(args.session, speed=args.speed, progress=progress)
    _need_terminal()
    return _watch(feed, settings)


def _need_terminal() -> None:
    """Refuse to draw where nobody can look; before a recorder starts, which would run on unseen."""
    if not _at_terminal():
        raise BadInputError(
            "the screen needs a terminal; without one, use telltick record, demo --no-screen or measure"
        )


def _at_terminal() -> bool:
    """Whether keys come from a terminal and the screen goes to one; the screen is drawn on stderr."""
    return all(stream is not None and stream.isatty() for stream in (sys.__stdin__, sys.__stderr__))


def _watch(feed: SessionFeed, settings: Settings, notice: str = "") -> int:
    from telltick.ui.app import run_screen

    exit_ = run_screen(feed, settings, notice=notice)
    with contextlib.suppress(OSError):  # a terminal that hung up takes no farewell
        print(exit_.farewell(feed.folder), flush=True)
    return 0


def _import(args: argparse.Namespace) -> int:
    from telltick.engine.importer import import_recording
    from telltick.model.traffic import Direction
    from telltick.progress import ProgressBar

    with ProgressBar("importing") as progress:
        lacks = import_recording(
            args.audio,
            args.session,
            bursts=args.bursts,
            marks=args.marks,
            channel=args.channel,
            baud=args.baud,
            framing=args.framing,
            poll_channel=args.poll_channel,
            direction=Direction(args.poll_direction or Direction.TX),
            progress=progress,
        )
    if lacks:
        print(f"telltick: warning: {plain_text(args.audio.name)}: {lacks}", file=sys.stderr)
    print(f"imported {plain_text(args.audio.name)} into {args.session}")
    return 0


def _measure(args: argparse.Namespace) -> int:
    from telltick.engine.measuring_options import measuring_options

    return _print_measurement(args.session, as_json=args.json, options=measuring_options(args))


def _print_measurement(folder: Path, *, as_json: bool, options: MeasuringOptions | None = None) -> int:
    from telltick.engine.offline import measured_document
    from telltick.export.summary import summary_text
    from telltick.progress import ProgressBar

    with ProgressBar("measuring") as progress:
        document = measured_document(folder, progress, options)
    print(json.dumps(document, indent=2, allow_nan=False) if as_json else summary_text(document))
    return 0


def _export(args: argparse.Namespace) -> int:
    from telltick.engine.exporting import export_folder
    from telltick.engine.measuring_options import measuring_options
    from telltick.progress import ProgressBar

    options = measuring_options(args)
    with ProgressBar("measuring") as progress:
        written = export_folder(
            args.session, args.to, args.output, progress, options, overwrite=args.overwrite
        )
    for path in written:
        print(path)
    return 0


def _compare(args: argparse.Namespace) -> int:
    """Set sessions side by side: on screen, as JSON, or in a file."""
    from telltick.engine.comparing import compare
    from telltick.engine.measuring_options import measuring_options
    from telltick.progress import ProgressBar

    how: dict[str, Any] = {"as_json": args.json, "workers": args.jobs, "overwrite": args.overwrite}
    how["options"] = measuring_options(args)
    if sys.stdout.isatty():
        how["width"] = shutil.get_terminal_size().columns
    try:
        with ProgressBar("comparing") as progress:
            said = compare(args.sessions, args.output, progress, **how)
    except KeyboardInterrupt:
        print(
            "telltick: stopped; what was measured is kept, and the same command goes on from there",
            file=sys.stderr,
        )
        return 1
    print(said)
    return 0


def _ask(args: argparse.Namespace) -> int:
    from telltick.engine.asking import ask
    from telltick.engine.awaiting import trial_until

    if args.what == "start-trial" and args.value is not None:
        print(plain_text(trial_until(args.session, args.value), 1000))
        return 0
    print(plain_text(ask(args.session, args.what, args.value), 1000))
    return 0


def _check(args: argparse.Namespace) -> int:
    if args.session is not None:
        return _check_session(args.session, as_json=args.json)
    from telltick.engine.checkup import checkup, checkup_text

    found = checkup()
    print(json.dumps(found, indent=2) if args.json else checkup_text(found))
    return 0


def _check_session(folder: Path, *, as_json: bool) -> int:
    """Say whether a session is whole; a damaged one fails."""
    from telltick.store.integrity import check_session, findings_text, is_damaged

    findings = check_session(folder)
    damaged = is_damaged(findings)
    found = [{"level": finding.level.lower(), "what": finding.what} for finding in findings]
    document = {"session": plain_text(str(folder), 1000), "damaged": damaged, "findings": found}
    print(json.dumps(document, indent=2) if as_json else findings_text(folder, findings))
    return 1 if damaged else 0


def _help(args: argparse.Namespace) -> int:
    from telltick.ui.pages import contents, print_page

    if args.topic is None:
        print(contents())
    else:
        print_page(args.topic)
    return 0


def _setup(args: argparse.Namespace) -> int:
    """Fill in a station profile on screen, and keep it."""
    kept = _set_up(_screen_settings(args), args.station)
    print(f"kept as {kept}; telltick monitor --station {kept.stem}" if kept else "nothing was kept")
    return 0


def _set_up(settings: Settings, given: Path | None) -> Path | None:
    """Show the set-up form; returns the profile's file when one was kept."""
    from telltick.engine.tryout import machine_ports, sound_inputs
    from telltick.model.plan import StationProfile
    from telltick.store.station import load_station
    from telltick.store.stations import find_station, save_station, station_files
    from telltick.ui.setup.app import run_setup

    _need_terminal()
    known = given is not None and (given.exists() or str(given) in station_files())
    profile = (
        load_station(find_station(given)) if given and known else StationProfile(name=str(given or "bench"))
    )
    ports = tuple(port.device for port in machine_ports())
    return run_setup(settings, sound_inputs(), ports, save_station, profile)


def _chosen_station(args: argparse.Namespace, settings: Settings) -> bool:
    """Ask which station to watch when the command line names no input; False when the operator leaves."""
    from telltick.engine.opening import names_inputs
    from telltick.store.stations import load_stations, station_files
    from telltick.ui.setup.choose import NEW, ask_station

    if args.join is not None or names_inputs(args):
        return True
    name = ask_station(load_stations(), settings)
    args.station = _set_up(settings, None) if name == NEW else station_files().get(name or "")
    return args.station is not None


def _screen_settings(args: argparse.Namespace) -> Settings:
    """Settings whose palette and keys can be used: found out before anything is recorded."""
    from telltick.ui.keymap import Keymap
    from telltick.ui.palettes import choose_palette

    settings = _settings(args)
    _keep_log(args.log)
    choose_palette(settings.theme, dict(os.environ))
    try:
        Keymap(settings.keys)
    except BadInputError as why:
        raise BadInputError(_with_place(str(why), args.settings)) from why
    return settings


def _with_place(complaint: str, path: Path | None) -> str:
    """A complaint about a key of the settings with the line it stands in; it may come from `--key` too."""
    from telltick.store.settings import place_of_setting

    named = re.search(r"\bkeys\.\w+", complaint)
    place = place_of_setting(path, named[0]) if named else None
    return complaint if place is None else f"{place}: {complaint.removeprefix('settings: ')}"


def _keep_log(path: Path | None) -> None:
    """Write warnings and faults to a file; without one they go nowhere, since the screen is on stderr."""
    import logging

    handler: logging.Handler = logging.NullHandler()
    if path is not None:
        try:
            handler = logging.FileHandler(path, encoding="utf-8")
        except OSError as why:
            raise BadInputError(f"--log {path}: it cannot be written ({why.strerror or why})") from why
    logging.basicConfig(
        level=logging.INFO,
        handlers=[handler],
        format="%(asctime)s %(levelname)s %(name)s: %(message)s",
        force=True,
    )
    logging.captureWarnings(True)


def _settings(args: argparse.Namespace) -> Settings:
    """The settings file, with the command line's options laid over it."""
    from telltick.store.settings import load_settings

    settings = load_settings(args.settings)
    keys = dict(_key(text) for text in getattr(args, "key", None) or ())
    wishes = {name: getattr(args, name, None) for name in ("ascii", "theme", "sessions", "mouse")}
    given: dict[str, Any] = {name: value for name, value in wishes.items() if value is not None}
    return replace(settings, **given, keys={**settings.keys, **keys})


def _key(text: str) -> tuple[str, str]:
    """``mark=x`` as an action and its key."""
    action, equals, key = text.partition("=")
    if not (action and equals and key):
        raise BadInputError(f"--key takes ACTION=KEY, such as mark=x, not {text}")
    return action.strip(), key


def _show_settings(args: argparse.Namespace) -> int:
    """Where the settings are; or write a file of comments there."""
    from telltick.store.settings import TEMPLATE, settings_path, write_settings

    if args.write:
        print(write_settings())
    else:
        path = settings_path()
        print(
            f"# {path}{'' if path.exists() else ' (not there yet: telltick settings --write)'}\n\n{TEMPLATE}",
            end="",
        )
    return 0


def _completion(args: argparse.Namespace) -> int:
    """Print a completion script."""
    import shtab

    print(shtab.complete(build_parser(), shell=args.shell))
    return 0


VERBS: dict[str, Callable[[argparse.Namespace], int]] = {
    "demo": _demo,
    "monitor": _monitor,
    "record": _record,
    "replay": _replay,
    "import": _import,
    "measure": _measure,
    "export": _export,
    "compare": _compare,
    "ask": _ask,
    "check": _check,
    "help": _help,
    "setup": _setup,
    "settings": _show_settings,
    "completion": _completion,
}
