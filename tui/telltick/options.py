"""The command line's verbs and options; `telltick.cli` carries them out."""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path
from typing import Any, NoReturn

from telltick import __version__
from telltick.model.text import plain_text

EPILOG = "Exit codes: 0 done, 1 failed, 2 bad use or bad input. More: telltick help; cautions: telltick check"


EXAMPLES = {
    "demo": ("telltick demo", "telltick demo --no-screen --seconds 30 --json"),
    "monitor": (
        'telltick monitor --audio "line in" --port /dev/ttyUSB0 --frame "XX;" --reply-end 3b --dry-run',
        "telltick monitor --station larkfell-hut",
        "telltick monitor --join 2026-05-02T1903Z-larkfell-hut",
    ),
    "record": ("telltick record --station larkfell-hut --seconds 3600",),
    "replay": ("telltick replay 2026-05-02T1903Z-larkfell-hut --speed 8",),
    "import": ("telltick import hut.wav --bursts hut.csv --session hut",),
    "measure": ("telltick measure hut", "telltick measure hut --calibrate S9=-41.2dBFS --environment rural"),
    "export": ("telltick export hut --to html -o report.html", "telltick export hut --to bag -o hut.zip"),
    "compare": ("telltick compare before-repair after-repair", "telltick compare sessions -o table.html"),
    "setup": ("telltick setup larkfell-hut",),
    "completion": ("telltick completion bash >> ~/.bash_completion",),
}


class OneLineParser(argparse.ArgumentParser):
    """Says what is wrong with a command in one line, as every other error is said."""

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Take a level below zero for a value, not for an option."""
        words = list(sys.argv[1:] if args is None else args)
        at = words.index("--calibrate") if "--calibrate" in words[:-1] else None
        if at is not None:
            words[at : at + 2] = [f"--calibrate={words[at + 1]}"]
        return super().parse_known_args(words, namespace)

    def error(self, message: str) -> NoReturn:
        """Leave with exit code 2."""
        self.exit(2, f"telltick: {plain_text(message, 1000)}; see {self.prog} --help\n")


def build_parser() -> argparse.ArgumentParser:
    """The whole command line."""
    parser: argparse.ArgumentParser = OneLineParser(
        prog="telltick",
        description="Measures receiver interference made by serial polling, live in a terminal.",
        epilog=EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"telltick {__version__}")
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB")
    _demo(verbs)
    _monitor(verbs)
    _record(verbs)
    _replay(verbs)
    _import(verbs)
    _measure(verbs)
    _export(verbs)
    _compare(verbs)
    _ask(verbs)
    verb = verbs.add_parser(
        "check",
        help="what this machine offers: inputs, ports, versions, cautions; or whether a session is whole",
    )
    verb.add_argument("session", nargs="?", type=Path, metavar="SESSION", help="verify this session instead")
    verb.add_argument("--json", action="store_true", help="print one JSON object")
    verb = verbs.add_parser("settings", help="where the settings file is, and what it may hold")
    verb.add_argument("--write", action="store_true", help="write one in which everything is a comment")
    verb = verbs.add_parser("completion", help="print a script that completes telltick's words in a shell")
    verb.add_argument("shell", choices=("bash", "zsh", "tcsh"))
    verb = verbs.add_parser("setup", help="choose and try inputs on screen, keep them as a station profile")
    verb.add_argument("station", nargs="?", type=Path, metavar="NAME", help="a profile to go on with")
    _screen_options(verb)
    verb = verbs.add_parser("help", help="pages to read: start, station, method, format")
    verb.add_argument("topic", nargs="?", metavar="TOPIC", help="which page; without one, what there is")
    _describe(verbs)
    return parser


def _describe(verbs: Verbs[argparse.ArgumentParser]) -> None:
    """Give each verb's own help what it does, and examples."""
    for listed in verbs._choices_actions:
        words = listed.help or ""
        verb = verbs.choices[listed.dest]
        verb.description = f"{words[:1].upper()}{words[1:]}."
        verb.formatter_class = argparse.RawDescriptionHelpFormatter
        if listed.dest in EXAMPLES:
            verb.epilog = "\n".join(["examples:", *(f"  {line}" for line in EXAMPLES[listed.dest])])


Verbs = argparse._SubParsersAction


def _demo(verbs: Verbs[argparse.ArgumentParser]) -> None:
    verb = verbs.add_parser("demo", help="watch a simulated bench, on the same path as a real one")
    _session_options(verb)
    _screen_options(verb)
    verb.add_argument(
        "--no-screen", action="store_true", help="record without a screen, then print the measurement"
    )
    verb.add_argument("--json", action="store_true", help="with --no-screen: print the measurement as JSON")


def _monitor(verbs: Verbs[argparse.ArgumentParser]) -> None:
    verb = verbs.add_parser("monitor", help="record and watch; or join a recorder that runs")
    _input_options(verb)
    _session_options(verb)
    _screen_options(verb)
    verb.add_argument("--join", type=Path, metavar="SESSION", help="watch a session that is being recorded")


def _record(verbs: Verbs[argparse.ArgumentParser]) -> None:
    verb = verbs.add_parser("record", help="the same recorder without a screen")
    _input_options(verb)
    _session_options(verb)
    verb.add_argument(
        "--bench", action="store_true", help="record the simulated bench instead of real inputs"
    )


def _ask(verbs: Verbs[argparse.ArgumentParser]) -> None:
    verb = verbs.add_parser("ask", help="ask a recorder that runs for something, as the screen's keys do")
    verb.add_argument("session", type=Path, metavar="SESSION", help="a session: its folder, or a bag")
    words = (
        "resume",
        "finish",
        "start-polling",
        "stop-polling",
        "interval",
        "baud",
        "request",
        "start-trial",
        "stop-trial",
    )
    verb.add_argument(
        "what",
        choices=words,
        metavar="WHAT",
        help="resume (go on once a full disk has room again), finish, start-polling, stop-polling, "
        "interval S, baud B, request answered (or unanswered), start-trial, stop-trial; start-trial ODDS "
        "waits until the odds against chance are so high and ends the trial",
    )
    value_help = "seconds, bits per second, answered or unanswered, odds to one"
    verb.add_argument("value", nargs="?", metavar="VALUE", help=value_help)


def _replay(verbs: Verbs[argparse.ArgumentParser]) -> None:
    verb = verbs.add_parser("replay", help="play a saved session on the same screen")
    verb.add_argument("session", type=Path, metavar="SESSION", help="a session: its folder, or a bag")
    verb.add_argument("--speed", type=float, default=1.0, metavar="X", help="0.5 to 64 (default 1)")
    _screen_options(verb)


def _import(verbs: Verbs[argparse.ArgumentParser]) -> None:
    verb = verbs.add_parser("import", help="turn a recording (WAV, FLAC, OGG...) into a session")
    verb.add_argument("audio", type=Path, metavar="AUDIO")
    verb.add_argument("--session", type=Path, required=True, metavar="DIR", help="new folder to write")
    verb.add_argument("--bursts", type=Path, metavar="CSV", help="columns start_s,end_s,direction,bytes_hex")
    verb.add_argument("--marks", type=Path, metavar="CSV", help="columns time_s,factor,value,note")
    verb.add_argument(
        "--channel", type=int, default=1, metavar="N", help="channel to take, from 1 (default 1)"
    )
    _poll_channel(verb)
    verb.add_argument("--baud", type=int, metavar="B", help="character rate of the bursts, if known")
    verb.add_argument("--framing", metavar="8N1", help="character framing of the bursts, if known")


def _measure(verbs: Verbs[argparse.ArgumentParser]) -> None:
    verb = verbs.add_parser("measure", help="measure a saved session")
    verb.add_argument("session", type=Path, metavar="SESSION", help="a session: its folder, or a bag")
    verb.add_argument("--json", action="store_true", help="print one JSON object, full precision")
    measuring_arguments(verb)


def measuring_arguments(verb: argparse.ArgumentParser) -> None:
    """What a user may say of a session that it does not say itself."""
    said = verb.add_argument_group("said over the session")
    said.add_argument(
        "--latency-ms", type=float, metavar="X", help="serial time to audio time; none is looked for then"
    )
    said.add_argument(
        "--bound-db", type=float, default=1.0, metavar="X", help="up to this it is no change (default 1)"
    )
    said.add_argument(
        "--calibrate",
        metavar="LEVEL",
        help="level at the antenna socket and its reading: -73dBm=-41.2dBFS or S9=-41.2dBFS; or the "
        "receiver's noise figure, NF8dB, for a session with a dummy load",
    )
    said.add_argument(
        "--environment",
        choices=("city", "residential", "rural", "quiet rural", "galactic"),
        help="kind of place, for the band noise to expect (ITU-R P.372)",
    )
    said.add_argument("--frequency", metavar="KHZ", help="what the receiver is tuned to (or 14.1MHz)")


def _export(verbs: Verbs[argparse.ArgumentParser]) -> None:
    verb = verbs.add_parser("export", help="write journal, results or report to files")
    verb.add_argument("session", type=Path, metavar="SESSION", help="a session: its folder, or a bag")
    ways = ("csv", "json", "md", "vtt", "html", "wav", "bag")
    verb.add_argument("--to", required=True, choices=ways, help="what to write")
    verb.add_argument(
        "-o", "--output", type=Path, metavar="PATH", help="file to write (csv and bag: a folder, or bag.zip)"
    )
    _overwrite(verb)
    measuring_arguments(verb)


def _compare(verbs: Verbs[argparse.ArgumentParser]) -> None:
    verb = verbs.add_parser(
        "compare", help="set sessions side by side: two or more, or all those in a folder in one table"
    )
    verb.add_argument(
        "sessions", nargs="+", type=Path, metavar="SESSION", help="sessions, or one folder of them"
    )
    verb.add_argument("--json", action="store_true", help="print one JSON object, full precision")
    verb.add_argument(
        "-o", "--output", type=Path, metavar="PATH", help="file to write: .html, .md, .csv, .json or .txt"
    )
    _overwrite(verb)
    verb.add_argument(
        "--jobs", type=_jobs, metavar="N", help="processes to measure with (default: one a core)"
    )
    measuring_arguments(verb)


def _overwrite(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("--overwrite", action="store_true", help="replace files that are there already")


def _jobs(text: str) -> int:
    """A number of processes."""
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:6]) <= 1024):
        raise argparse.ArgumentTypeError(f"must be a whole number from 1 to 1024, not {text}")
    return int(text)


def _input_options(verb: argparse.ArgumentParser) -> None:
    inputs = verb.add_argument_group("inputs")
    inputs.add_argument(
        "--station",
        type=Path,
        metavar="NAME",
        help="station profile: a TOML file, or a name it is kept under",
    )
    inputs.add_argument("--audio", metavar="NAME", help="sound input by (part of) its name, or an audio file")
    inputs.add_argument("--channel", type=int, metavar="N", help="channel of the sound input, from 1")
    inputs.add_argument("--port", metavar="URL", help="serial port, or any pyserial URL")
    inputs.add_argument(
        "--bridge",
        metavar="LINK",
        help="pass a station program's bytes on: it opens LINK as if it were the radio at --port",
    )
    inputs.add_argument(
        "--bridge-tcp",
        type=int,
        metavar="PORT",
        help="the same for a program that speaks RFC 2217: it connects to this TCP port of this machine, and "
        "of no other unless --bridge-address says so. Control lines stay low whatever it asks for",
    )
    inputs.add_argument(
        "--bridge-address",
        metavar="ADDRESS",
        help="listen there instead of 127.0.0.1: whoever reaches it can command the radio",
    )
    inputs.add_argument("--listen", metavar="PORT", help="only hear the bytes on a port, write none")
    _poll_channel(inputs)
    inputs.add_argument(
        "--frame", metavar="TEXT", help="request to poll with, as text (\\r and so on allowed)"
    )
    inputs.add_argument("--frame-hex", metavar="HEX", help="request to poll with, as hex digits")
    inputs.add_argument("--interval", type=float, metavar="S", help="seconds from poll to poll (default 0.2)")
    inputs.add_argument("--baud", type=int, metavar="B", help="bits per second (default 9600)")
    inputs.add_argument("--framing", metavar="8N1", help="character framing (default 8N1)")
    inputs.add_argument("--reply-end", metavar="HEX", help="byte(s) that end a reply, as hex digits")
    inputs.add_argument(
        "--dry-run", action="store_true", help="print the frames that would be sent; open nothing"
    )


def _poll_channel(options: argparse._ActionsContainer) -> None:
    options.add_argument(
        "--poll-channel",
        type=int,
        metavar="N",
        help="take the bursts from channel N of the audio, which carries the data line itself through an "
        "attenuator and an isolator; never connect a serial line straight to a sound input",
    )
    options.add_argument(
        "--poll-direction",
        choices=("tx", "rx"),
        help="which way the bytes of that line flow: to the radio (tx, the default) or from it",
    )


def _duration_s(text: str) -> float:
    """A time above zero that ends."""
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not 0 < seconds < math.inf:
        raise argparse.ArgumentTypeError(f"must be a number of seconds above 0, not {text}")
    return seconds


def _seed(text: str) -> int:
    """A whole number that random generators take."""
    if not (text.isascii() and text.isdigit() and len(text) <= 20):
        raise argparse.ArgumentTypeError(f"must be a whole number from 0 on, not {text}")
    return int(text)


def _session_options(verb: argparse.ArgumentParser) -> None:
    verb.add_argument(
        "--session", type=Path, metavar="DIR", help="folder to record into (default: a new one)"
    )
    verb.add_argument("--sessions", metavar="DIR", help="folder that new session folders go into")
    verb.add_argument("--seconds", type=_duration_s, metavar="S", help="end by itself after this time")
    verb.add_argument("--seed", type=_seed, metavar="N", help="seed of the random schedule (default: drawn)")


def _screen_options(verb: argparse.ArgumentParser) -> None:
    screen = verb.add_argument_group("screen")
    screen.add_argument("--ascii", action="store_true", default=None, help="draw with ASCII characters only")
    screen.add_argument("--theme", metavar="NAME", help="palette: a name from themes/, or a file")
    screen.add_argument(
        "--no-mouse", dest="mouse", action="store_false", default=None, help="leave the mouse to the terminal"
    )
    screen.add_argument("--settings", type=Path, metavar="FILE", help="settings file to use")
    screen.add_argument(
        "--key", action="append", metavar="ACTION=KEY", help="give an action another key; may be repeated"
    )
    screen.add_argument("--log", type=Path, metavar="FILE", help="write what goes wrong on screen to a file")
