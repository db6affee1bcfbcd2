"""From what the user asked for to a recorder: folder, station profile, inputs."""

from __future__ import annotations

import argparse
import secrets
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from telltick import __version__
from telltick.engine.inputs import Inputs, real_inputs, simulated_inputs
from telltick.engine.launch import start_detached
from telltick.engine.line_options import channel_from, given, others_talk, tap_from
from telltick.engine.recorder import Recorder, StopSignal
from telltick.engine.versions import host, library_versions
from telltick.model.errors import BadInputError
from telltick.model.plan import REQUEST, REQUEST_ANSWERED, PollPlan, Settings, StationProfile
from telltick.model.session import SessionFacts
from telltick.store.folder import new_session_folder, prepare_folder, sessions_folder
from telltick.store.settings import load_settings
from telltick.store.station import load_station
from telltick.store.stations import find_station

BENCH_NAME = "larkfell hut (simulated)"
PASSED_ON = (
    "station",
    "audio",
    "channel",
    "port",
    "frame",
    "frame_hex",
    "interval",
    "baud",
    "framing",
    "reply_end",
    "bridge",
    "bridge_tcp",
    "bridge_address",
    "listen",
    "poll_channel",
    "poll_direction",
)


def names_inputs(args: argparse.Namespace) -> bool:
    """Whether the command line says which inputs to take."""
    return any(getattr(args, option, None) is not None for option in PASSED_ON)


def profile_from(args: argparse.Namespace) -> StationProfile:
    """The station profile: the file's, with the command line's options laid over it.

    Raises:
        BadInputError: the file or an option cannot be used.
    """
    profile = load_station(find_station(args.station)) if args.station else StationProfile()
    try:
        chosen = given(device=args.audio, channel=args.channel, poll_channel=args.poll_channel)
        audio = replace(profile.audio, **chosen)
        ours = not others_talk(args) and audio.poll_channel is None
        poll = _poll_plan(profile.poll, args) if ours else profile.poll
        return replace(profile, audio=audio, poll=poll)
    except ValueError as why:
        raise BadInputError(f"{why}") from why


def _poll_plan(plan: PollPlan | None, args: argparse.Namespace) -> PollPlan | None:
    chosen = given(
        port=args.port,
        frame_text=args.frame,
        frame_hex=args.frame_hex,
        interval_s=args.interval,
        baud=args.baud,
        framing=args.framing,
        reply_terminator=args.reply_end,
    )
    if not chosen:
        return plan
    if plan is not None:
        if "frame_text" in chosen or "frame_hex" in chosen:
            plan = replace(plan, **{"frame_text": None, "frame_hex": None, **chosen})
        return replace(plan, **chosen)
    if "port" not in chosen:
        raise BadInputError("polling options need --port; telltick check lists the ports")
    if "frame_text" not in chosen and "frame_hex" not in chosen:
        raise BadInputError(
            "--port needs a request to send: --frame TEXT or --frame-hex HEX, "
            "a read-only query from the radio's own command manual"
        )
    return PollPlan(**chosen)


def open_recorder(args: argparse.Namespace, stop: StopSignal) -> Recorder:
    """A recorder for this process, its inputs opened and its folder ready.

    Raises:
        BadInputError: an input or the folder cannot be used; nothing is left behind.
    """
    seed = secrets.randbits(31) if args.seed is None else args.seed
    settings = load_settings()
    if args.bench:
        _refuse_real_inputs(args)
        inputs, profile = simulated_inputs(seed), StationProfile(name=BENCH_NAME)
    else:
        profile = profile_from(args)
        heard = channel_from(args, profile.audio, profile.poll)
        inputs = real_inputs(profile, tap_from(args, profile.poll), heard)
    try:
        folder, made = _folder_for(args, settings, profile.name)
    except BadInputError:
        inputs.close()
        raise
    facts = _facts(inputs, profile, seed)
    return Recorder(folder, facts, inputs, args.seconds, stop, folder_made=made)


def _refuse_real_inputs(args: argparse.Namespace) -> None:
    """An option about real inputs would go unheard on the simulated bench."""
    for option in PASSED_ON:
        if getattr(args, option, None) is not None:
            raise BadInputError(
                f"the simulated bench has its own sound and polls; leave out --{option.replace('_', '-')}, "
                "and change its polling while it runs with telltick ask"
            )


def _facts(inputs: Inputs, profile: StationProfile, seed: int) -> SessionFacts:
    plan, setup = inputs.poll, dict(profile.setup)
    if inputs.bench is not None:
        setup = dict(inputs.bench.setup)
    if plan is not None:
        polling = {"polling": "on" if plan.enabled else "off", "baud": f"{plan.baud}"}
        setup = {**setup, **polling, "poll interval": f"{plan.interval_s:g} s"}
        if plan.unanswered is not None:
            setup[REQUEST] = REQUEST_ANSWERED
    tap = inputs.tap
    if tap is not None:
        setup = {**setup, "baud": f"{tap.baud}", **({"program": "closed"} if tap.way == "bridge" else {})}
    heard = inputs.line_channel
    if heard is not None and heard.baud is not None:
        setup = {**setup, "baud": f"{heard.baud}"}
    return SessionFacts(
        name=profile.name,
        started_wall_ns=time.time_ns() - (time.monotonic_ns() - inputs.zero_ns),
        started_mono_ns=inputs.zero_ns,
        utc_offset_s=time.localtime().tm_gmtoff,
        rate_hz=inputs.audio.rate_hz,
        source="simulated bench" if inputs.bench is not None else "sound card",
        audio_name=inputs.audio.name,
        port=plan.port if plan else tap.port if tap else "",
        poll=_plan_facts(inputs),
        setup=setup,
        seed=seed,
        program=f"telltick {__version__}",
        versions=library_versions(),
        host=host(),
        calibration=profile.calibration,
        place=profile.place,
    )


def _plan_facts(inputs: Inputs) -> dict[str, Any]:
    """What is polled or heard, as plain values."""
    plan, tap, heard = inputs.poll, inputs.tap, inputs.line_channel
    if plan is not None:
        return {key: value for key, value in asdict(plan).items() if value is not None}
    if heard is not None:
        line = given(baud=heard.baud, framing=heard.framing if heard.baud else None)
        return {**line, "way": "audio channel", "channel": heard.channel, "direction": str(heard.direction)}
    if tap is None:
        return {}
    line = {"port": tap.port, "baud": tap.baud, "framing": tap.framing, "handshake": tap.handshake}
    tcp = {} if tap.tcp_port is None else {"tcp": f"{tap.tcp_address}:{tap.tcp_port}"}
    return {**line, "way": tap.way, **({"link": str(tap.link)} if tap.link else {}), **tcp}


def _folder_for(args: argparse.Namespace, settings: Settings, name: str) -> tuple[Path, bool]:
    """The empty folder to record into, and whether it was made just now.

    Raises:
        BadInputError: it holds something, or cannot be written.
    """
    if args.session is None:
        chosen = replace(settings, sessions=args.sessions) if args.sessions else settings
        return new_session_folder(sessions_folder(chosen), name, time.time_ns()), True
    made = not args.session.exists()
    return prepare_folder(args.session), made


def start_recorder(args: argparse.Namespace, settings: Settings) -> Path:
    """Start a detached recorder; returns its session folder.

    Raises:
        BadInputError, TelltickError: it could not start; the message is the recorder's own.
    """
    folder, _ = _start(args, settings)
    return folder


def run_recorder(args: argparse.Namespace, settings: Settings) -> Path:
    """Run a recorder process to its end; an interrupt ends it early and cleanly."""
    folder, process = _start(args, settings)
    try:
        process.wait()
    except KeyboardInterrupt:
        process.terminate()
        process.wait()
    return folder


def _start(args: argparse.Namespace, settings: Settings) -> tuple[Path, Any]:
    bench = getattr(args, "bench", False)
    name = (
        BENCH_NAME if bench else (load_station(find_station(args.station)).name if args.station else "bench")
    )
    folder, made = _folder_for(args, settings, name)
    return folder, start_detached(folder, _arguments(args, bench), folder_made=made)


def _arguments(args: argparse.Namespace, bench: bool) -> list[str]:
    """The options of ``telltick record`` that say the same as `args`."""
    words = ["--bench"] if bench else []
    for option in ("seconds", "seed", *(() if bench else PASSED_ON)):
        value = getattr(args, option, None)
        if value is not None:
            words.append(f"--{option.replace('_', '-')}={value}")
    return words
