"""The process ends quietly after the screen, also in the middle of a measurement."""

import subprocess
import sys

IN_A_TRANSFORM = """
import threading
import numpy as np
from scipy.fft import rfft
from telltick.ui.leaving import end_at_once

samples, begun = np.ones(2**22, dtype=np.float32), threading.Event()

def measure():
    while True:
        rfft(samples)
        begun.set()

threading.Thread(target=measure, daemon=True).start()
begun.wait()
end_at_once(0)
print("the session is here", flush=True)
"""


def test_leaving_amid_a_transform_says_nothing_and_succeeds():
    done = subprocess.run([sys.executable, "-c", IN_A_TRANSFORM], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "the session is here\n", "")
