"""The screen draws on a descriptor of its own: what hushes file descriptor 2 does not swallow frames."""

import os
import subprocess
import sys

PROGRAM = """
import os, sys
from telltick.sources.portaudio import quiet_descriptor
from telltick.ui.descriptor import screen_apart
with screen_apart():
    os.write(2, b"a library's own words;")
    with quiet_descriptor():
        sys.__stderr__.write("a frame;")
        sys.__stderr__.flush()
    print("a traceback;", end="", file=sys.stderr, flush=True)
os.write(2, b"afterwards")
"""


def test_frames_arrive_while_libraries_are_hushed_and_their_words_do_not():
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True, env=dict(os.environ)
    )
    assert done.stderr == "a frame;a traceback;afterwards"
