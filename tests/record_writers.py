"""Writers that keep states in one record, killed at random moments; run as a script.

    python record_writers.py RECORD ACKNOWLEDGED_FOLDER N_WRITERS N_KILLS N_STATES SEED

Each writer notes the digest of a state in a file of its own once the record has taken it.
With N_KILLS above 0, writers are killed and replaced that often, each time after something
more was acknowledged; else each keeps N_STATES and ends. The folder of this file has to be on PYTHONPATH.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from kept import KEY, entry, report
from motemap.bodies import BodyKey
from motemap.history import Store

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess

LONGEST_PAUSE_S = 0.05
LONGEST_STANDSTILL_S = 60.0
"""Without anything acknowledged by any of them for so long they hang, however slow the disk."""


def write(place: Path, notes: Path, number: int, n_states: int) -> None:
    """Keep states until `n_states` are kept."""
    body = BodyKey(KEY.maker, KEY.model, f"W-{number % 3}")
    plain = entry(report("2031-05-02T10:00:00"), body=body)
    with (notes / f"{number}").open("a", encoding="utf-8") as acknowledged:
        for index in range(n_states):
            one = replace(plain, digest=f"{number}-{index}-{os.getpid()}")
            with Store.open(place) as store:
                store.put([one])
            acknowledged.write(f"{one.digest}\n")
            acknowledged.flush()


def wait_for_more(notes: Path, n_before: int) -> int:
    """Wait until more bytes of acknowledgements lie there than before; return how many do."""
    until_s = time.monotonic() + LONGEST_STANDSTILL_S
    while True:
        n_bytes = sum(file.stat().st_size for file in notes.iterdir())
        if n_bytes > n_before:
            return n_bytes
        if time.monotonic() > until_s:
            sys.exit(f"Nothing was acknowledged for {LONGEST_STANDSTILL_S:.0f} s.")
        time.sleep(0.001)


def main(place: Path, notes: Path, numbers: list[int]) -> None:
    """Start writers; kill and replace them if asked to."""
    n_writers, n_kills, n_states, seed = numbers
    context = multiprocessing.get_context("fork")
    chance = random.Random(seed)

    def start(number: int) -> BaseProcess:
        process = context.Process(target=write, args=(place, notes, number, n_states))
        process.start()
        return process

    writers = [start(number) for number in range(n_writers)]
    try:
        n_noted = 0
        for kill in range(n_kills):
            n_noted = wait_for_more(notes, n_noted)
            time.sleep(chance.uniform(0.0, LONGEST_PAUSE_S))
            victim = chance.randrange(n_writers)
            os.kill(writers[victim].pid or 0, signal.SIGKILL)
            writers[victim].join()
            writers[victim] = start(n_writers + kill)
    finally:
        for writer in writers:
            if n_kills:
                writer.kill()
            writer.join()


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), [int(each) for each in sys.argv[3:]])
