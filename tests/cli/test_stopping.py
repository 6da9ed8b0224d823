"""Ctrl+C ends a command with a sentence, and no trace of the program's inside."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest

ASKING = """
import signal, sys  # asked for, since the tests themselves may run ignoring it
signal.signal(signal.SIGINT, signal.default_int_handler)
from dryslate.cli.main import main
sys.argv[1:] = ["identify"]
main()
"""


@pytest.mark.skipif(os.name == "nt", reason="interrupts are sent otherwise on Windows")
def test_ctrl_c_says_what_becomes_of_the_work() -> None:
    asking = subprocess.Popen(
        [sys.executable, "-u", "-c", ASKING],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )
    assert asking.stdout is not None
    assert "Answer with the number" in asking.stdout.readline()
    asking.send_signal(signal.SIGINT)
    _, said = asking.communicate(timeout=60)
    assert asking.returncode == 130
    assert said.strip() == "Stopped. What was finished is kept; run the same command to go on."
