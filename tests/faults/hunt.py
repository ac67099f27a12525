"""Spoil files of every format by the thousand and see whether the program keeps its word.

    python tests/faults/hunt.py --count 1000

Says how many files of each format got which exit code, and ends with 1 when the program
crashed, hung, took too much memory or gave no proper answer; such files are kept in the
folder named with ``--keep``, to be made into fixtures.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import zlib
from collections import Counter
from itertools import count, islice
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.damage import Damaged, damaged, forged
from faults.samples import SAMPLES, WHOLE_SAMPLES
from faults.trial import FORMS, Trial

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST_FORGED_SHARE = 0.7


def spoilt(name: str, content: bytes, *, n_wanted: int | None, seed: int) -> Iterator[Damaged]:
    """Yield so many spoilt copies of a file: fields forged one by one, and random damage.

    Parameters
    ----------
    n_wanted : int or None
        How many; None means every field forged, and as many random ones.
    """
    rng = np.random.default_rng([seed, zlib.crc32(name.encode())])
    fields = list(forged(content))
    n_fields = len(fields)
    if n_wanted is not None:
        n_fields = min(n_fields, round(MOST_FORGED_SHARE * n_wanted))
    chosen = rng.permutation(len(fields))[:n_fields]
    yield from (fields[number] for number in sorted(chosen.tolist()))
    n_random = n_fields if n_wanted is None else n_wanted - n_fields
    yield from (damaged(content, rng) for _ in islice(count(), n_random))


def hunt(
    name: str, folder: Path, *, n_wanted: int | None, seed: int
) -> Iterator[tuple[str, bytes]]:
    """Yield what is wrong and the file that shows it, for one format; print the tally."""
    place = folder / name
    {**SAMPLES, **WHOLE_SAMPLES}[name](place)
    content = place.read_bytes()
    tally: Counter[int | None] = Counter()
    slowest_s, peak_mb = 0.0, 0
    with Trial() as trial:
        for number, each in enumerate(spoilt(name, content, n_wanted=n_wanted, seed=seed)):
            form = FORMS[number % len(FORMS)]
            place.write_bytes(each.content)
            answer = trial.judge(place, form)
            tally[answer.code] += 1
            slowest_s, peak_mb = max(slowest_s, answer.cpu_s), max(peak_mb, answer.peak_mb)
            for complaint in answer.complaints(form):
                yield f"{name}, {each.what}, --format {form}: {complaint}", each.content
    codes = ", ".join(f"{code}: {n_files}" for code, n_files in sorted(tally.items(), key=str))
    print(f"{name:18} {tally.total():6} files  {codes}; {slowest_s:.1f} s, {peak_mb} MB at most")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, help="files of each format; all fields if left out")
    parser.add_argument("--seed", type=int, default=1, help="another one, other damage")
    parser.add_argument("--only", action="append", help="one format; may be repeated")
    parser.add_argument("--keep", type=Path, help="folder for the files that show a fault")
    args = parser.parse_args()
    n_faults = 0
    with tempfile.TemporaryDirectory() as folder:
        for name in args.only or [*SAMPLES, *WHOLE_SAMPLES]:
            for what, content in hunt(name, Path(folder), n_wanted=args.count, seed=args.seed):
                n_faults += 1
                print(f"FAULT {n_faults}: {what}")
                if args.keep is not None:
                    args.keep.mkdir(parents=True, exist_ok=True)
                    (args.keep / f"{n_faults}-{name}").write_bytes(content)
    print(f"{n_faults} faults")
    return 1 if n_faults else 0


if __name__ == "__main__":
    sys.exit(main())
