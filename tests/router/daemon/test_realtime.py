"""What the daemon takes of real time. Each try is a process of its own: nothing gives a test its old priority back."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from router.daemon.realtime import PRIORITY

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="there is no such thing elsewhere")

TRY = """
import json, os, resource, threading
from router.daemon.realtime import take_realtime
for limit in {limits}:
    resource.setrlimit(getattr(resource, limit), (0, 0))
if {as_nobody}:
    os.setgroups([]), os.setgid(65534), os.setuid(65534)
taken = take_realtime()
kept = []
thread = threading.Thread(target=lambda: kept.append(os.sched_getscheduler(0)))
thread.start(), thread.join()
locked = next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmLck"))
print(json.dumps([taken.priority, taken.memory_locked, os.sched_getscheduler(0), kept[0], locked]))
"""
FIFO, RESETS = 1, 0x40000000  # sched.h


def tried(*limits: str, as_nobody: bool = False) -> tuple[int | None, bool, int, int, int]:
    """What was taken: priority, whether memory is locked; policy of the thread, of one that it starts; locked kB."""
    program = TRY.format(limits=limits, as_nobody=as_nobody)
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    priority, is_locked, policy, of_new_thread, locked = json.loads(done.stdout)
    return priority, is_locked, policy, of_new_thread, locked


def test_what_is_said_to_be_taken_is_taken_and_threads_stay_ordinary() -> None:
    """Whatever this computer allows."""
    priority, is_locked, policy, of_new_thread, locked = tried()
    assert (priority is not None) == (policy == FIFO | RESETS)
    assert is_locked == (locked > 0)
    assert of_new_thread == 0


def test_where_nothing_is_allowed_nothing_is_taken_and_nothing_fails() -> None:
    """Without limits that allow it, for anyone but root."""
    assert tried("RLIMIT_RTPRIO", "RLIMIT_MEMLOCK", as_nobody=os.getuid() == 0) == (None, False, 0, 0, 0)


BESIDE = """
import json, os
from router.daemon.realtime import beside_the_loop
kinds = [os.sched_getscheduler(0)]
with beside_the_loop():
    kinds += [os.sched_getscheduler(0), os.sched_getparam(0).sched_priority]
    if os.getuid() == 0:
        os.setuid(65534)
print(json.dumps([*kinds, os.sched_getscheduler(0)]))
"""


def test_a_thread_beside_the_loop_goes_ahead_for_a_while() -> None:
    """Right behind the loop, as far as this computer allows it; then it is as before, also without privileges."""
    done = subprocess.run([sys.executable, "-c", BESIDE], capture_output=True, text=True, check=True)
    before, policy, priority, after = json.loads(done.stdout)
    assert before == after & ~RESETS == 0
    assert (policy, priority) in ((FIFO | RESETS, PRIORITY - 1), (0, 0))
    assert (policy != 0) == (tried()[0] is not None)
