"""Faults tried and what they cost: ``python -m tests.benchmarks.faults [--times 1] [WORD...]``.

Each fault is a test of its own, which fails when more is lost than the table says. Runs those whose line
holds every WORD, as often as asked, and prints how often each was tried and held.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from dataclasses import dataclass

CAPTURE = "tests/engine/test_capture.py::"
CLOCKS = "tests/engine/test_clocks.py::"
POLLER = "tests/sources/test_poller.py::"
BRIDGE = "tests/bench_parts/test_bridge.py::"
DISK = "tests/bench_parts/test_disk_full.py"
LINE = "tests/sources/test_network_line.py::"
LEDGER = "tests/engine/test_ledger.py::"
TOLD = "tests/engine/test_told.py::"
TERMINAL = "tests/bench_parts/test_terminal.py::"


@dataclass(frozen=True, slots=True)
class Fault:
    """One line of the table.

    Attributes:
        what: what goes wrong.
        lost: what may be lost.
        seen: what the user sees.
        test: the test that tries it.
    """

    what: str
    lost: str
    seen: str
    test: str


FAULTS = (
    Fault(
        "recorder killed (SIGKILL)",
        "the block in hand",
        "session opens, says it was killed",
        "tests/bench_parts/test_killed_recorder.py",
    ),
    Fault(
        "torn write, empty or missing segment",
        "what is not there",
        "opens; `check` names it",
        "tests/store/test_integrity.py",
    ),
    Fault("disk full", "from full to resume", "gap 'disk full', warning before, resume by request", DISK),
    Fault(
        "disk full to the end",
        "entries without room",
        "the ending counts them",
        "tests/engine/test_last_words.py::test_entries_that_found_no_room_are_counted_in_the_ending",
    ),
    Fault(
        "journal locked by another program",
        "nothing",
        "told; written once it is free",
        LEDGER + "test_what_a_locked_journal_refuses_is_written_in_order_once_it_is_free",
    ),
    Fault(
        "the same, watched",
        "nothing",
        "advice on screen, no reading meanwhile",
        TOLD + "test_while_the_journal_is_locked_no_reading_is_given_and_the_reason_is",
    ),
    Fault(
        "the same, then killed",
        "what was not told",
        "that sound is not measured, and why",
        TOLD + "test_what_a_recorder_killed_during_a_lock_could_not_tell_is_left_out_and_said",
    ),
    Fault(
        "terminal hangs up",
        "nothing",
        "screen ends, recorder goes on",
        TERMINAL + "test_a_hang_up_ends_the_screen_at_once_and_nothing_else",
    ),
    Fault(
        "terminal stalls",
        "nothing",
        "current as soon as it reads again",
        TERMINAL + "test_a_stalled_terminal_holds_up_nothing_and_is_current_as_soon_as_it_reads_again",
    ),
    Fault(
        "link of 2 kB/s",
        "nothing",
        "the present, at fewer frames",
        TERMINAL + "test_a_link_of_two_thousand_bytes_a_second_shows_the_present",
    ),
    Fault(
        "SSH connection dropped",
        "nothing",
        "joining again shows the running session",
        TERMINAL + "test_a_dropped_connection_leaves_the_recorder_recording_and_joining_returns_to_it",
    ),
    Fault(
        "samples dropped (overflow)",
        "those samples",
        "gap 'overflow'",
        CAPTURE + "test_an_overflow_is_a_gap_and_begins_a_new_run",
    ),
    Fault(
        "samples missing unsaid",
        "those samples",
        "gap 'stalled', where they are missing",
        CAPTURE + "test_samples_that_go_missing_unsaid_are_found_by_the_clock_where_they_are_missing",
    ),
    Fault(
        "machine busy for 0.4 s",
        "nothing",
        "nothing",
        CAPTURE + "test_a_busy_machine_that_catches_up_loses_nothing_and_makes_no_gap",
    ),
    Fault(
        "sound input unplugged",
        "until it is back",
        "gap 'device lost', reopened by name",
        CAPTURE + "test_a_lost_device_is_a_gap_and_is_opened_again_when_it_is_back",
    ),
    Fault(
        "sound server killed",
        "until it is back",
        "noticed within 2 s",
        "tests/bench_parts/test_sound_card.py::test_a_sound_server_that_dies_is_noticed",
    ),
    Fault(
        "sound source silently replaced",
        "until it is back",
        "noticed within 2 s, told with the other's name",
        "tests/bench_parts/test_sound_card.py"
        "::test_a_stream_that_the_server_hangs_on_another_input_is_noticed",
    ),
    Fault(
        "clock set by an hour",
        "nothing",
        "note 'clock set'; timeline whole",
        CLOCKS + "test_a_clock_set_by_an_hour_leaves_the_timeline_whole_and_is_told",
    ),
    Fault(
        "computer sleeps 300 s",
        "the time asleep",
        "gap 'paused', note 'sleep'",
        CLOCKS + "test_a_sleep_is_a_gap_between_two_runs",
    ),
    Fault(
        "radio silent",
        "nothing",
        "time-outs counted, polling goes on",
        POLLER + "test_a_radio_that_stays_silent_times_out_and_is_polled_again",
    ),
    Fault(
        "radio answers late",
        "nothing",
        "'late reply' counted",
        POLLER + "test_a_reply_after_the_timeout_is_journalled_with_its_poll_and_counted_as_late",
    ),
    Fault(
        "radio answers garbage",
        "nothing",
        "'serial garbage' counted, one note in 5 s",
        POLLER + "test_bytes_after_the_reply_are_journalled_as_a_burst_of_their_own",
    ),
    Fault(
        "cable echoes",
        "nothing",
        "'echo' once, replies without it",
        "tests/sources/test_conversation.py"
        "::test_the_echo_of_a_one_wire_cable_is_told_and_not_taken_for_the_reply",
    ),
    Fault(
        "rate refused by the port",
        "nothing",
        "request refused, no mark",
        "tests/engine/test_errands.py"
        "::test_a_rate_that_the_port_refuses_is_refused_with_its_words_and_leaves_no_mark",
    ),
    Fault(
        "unknown request",
        "nothing",
        "refused with words",
        "tests/engine/test_errands.py::test_a_verb_that_nobody_knows_is_refused_and_the_recording_goes_on",
    ),
    Fault(
        "serial port unplugged",
        "bytes while away",
        "'serial lost', 'serial back', advice meanwhile",
        POLLER + "test_a_port_that_vanishes_and_comes_back_is_told_once_each_and_polled_on",
    ),
    Fault(
        "serial watch fails by itself",
        "bytes from then on",
        "told, and advice to begin anew stays",
        "tests/sources/test_line_thread.py::test_a_fault_that_nobody_foresaw_is_told_and_frees_the_port",
    ),
    Fault(
        "serial port unplugged (bridge)",
        "bytes while away",
        "'serial lost', 'serial back'",
        BRIDGE + "test_a_radio_that_vanishes_is_journalled_and_the_program_is_not_disturbed",
    ),
    Fault(
        "bridge killed",
        "the block in hand",
        "same name again",
        BRIDGE + "test_a_killed_bridge_is_started_again_under_the_same_name",
    ),
    Fault(
        "second program on the TCP bridge",
        "nothing",
        "turned away, told",
        LINE + "test_a_second_program_is_turned_away_and_the_first_goes_on",
    ),
    Fault(
        "nonsense on the TCP bridge",
        "that connection",
        "hung up on, told",
        LINE + "test_nonsense_hangs_up_on_the_program_and_the_next_is_served",
    ),
    Fault(
        "program asks to key DTR/RTS over TCP",
        "nothing",
        "never raised, told once",
        LINE + "test_wishes_to_raise_control_lines_are_acknowledged_told_and_never_carried_out",
    ),
)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=1)
    parser.add_argument("words", nargs="*", metavar="WORD")
    args = parser.parse_args()
    print(f"{'fault':<38}{'held':>8}  {'lost at most':<22}what the user sees")
    for fault in FAULTS:
        if all(word in f"{fault.what} {fault.seen}" for word in args.words):
            verdicts = [tried(fault) for _ in range(args.times)]
            held = "skipped" if "skipped" in verdicts else f"{verdicts.count('held')}/{len(verdicts)}"
            print(f"{fault.what:<38}{held:>8}  {fault.lost:<22}{fault.seen}", flush=True)


def tried(fault: Fault) -> str:
    """``held``, ``failed`` or ``skipped``."""
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-p",
        "no:randomly",
        "-p",
        "no:cacheprovider",
        fault.test,
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        return "failed"
    return "held" if " passed" in done.stdout else "skipped"


if __name__ == "__main__":
    main()
