"""Runs a command and says what it took: ``launch.py WORDS...``, words for the interpreter.

A process of its own that imports next to nothing: the system counts the memory of whoever
starts a process among the memory of the process that is started.
"""

import json
import os
import sys
import time

BYTES_PER_KB, BYTES_PER_MB = 1024, 1e6


def main() -> None:
    """Run it, with nothing to read and its answer thrown away."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    shown = os.dup(1)
    os.dup2(nowhere, 0)
    os.dup2(nowhere, 1)
    begun_s = time.perf_counter()
    pid = os.posix_spawn(sys.executable, [sys.executable, *sys.argv[1:]], os.environ)
    _, status, used = os.wait4(pid, 0)
    took_s = time.perf_counter() - begun_s
    os.dup2(shown, 1)
    taken = {
        "code": os.waitstatus_to_exitcode(status),
        "wall_s": took_s,
        "cpu_s": used.ru_utime + used.ru_stime,
        "peak_mb": used.ru_maxrss * BYTES_PER_KB / BYTES_PER_MB,
    }
    print(json.dumps(taken))


if __name__ == "__main__":
    main()
