"""Spoil files of every format by the thousand and see whether the program keeps its word.

    python tests/faults/hunt.py --count 1000

Says how many files of each format got which exit code, and ends with 1 when the program
crashed, hung, took too much memory or gave no proper answer; such files are kept in the
folder named with ``--keep``, to be made into fixtures. With ``--page`` the outcome goes into
``docs/explanation/robustness.md``.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import zlib
from collections import Counter
from dataclasses import dataclass, field
from itertools import count, islice
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.damage import Damaged, damaged, forged
from faults.outcome import PAGE, made_with, write_outcome
from faults.samples import SAMPLES, WHOLE_SAMPLES
from faults.trial import FORMS, Answer, Trial
from publishing import table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

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


@dataclass(slots=True, kw_only=True)
class Tally:
    """What came of the files of one format."""

    name: str
    codes: Counter[int | None] = field(default_factory=Counter)
    slowest_s: float = 0.0
    peak_mb: int = 0
    faults: list[tuple[str, bytes]] = field(default_factory=list)

    def add(self, answer: Answer, form: str, each: Damaged) -> None:
        """Count one answer."""
        self.codes[answer.code] += 1
        self.slowest_s = max(self.slowest_s, answer.cpu_s)
        self.peak_mb = max(self.peak_mb, answer.peak_mb)
        self.faults += [
            (f"{self.name}, {each.what}, --format {form}: {complaint}", each.content)
            for complaint in answer.complaints(form)
        ]

    def line(self) -> str:
        """Return the tally for a terminal."""
        codes = ", ".join(f"{code}: {n}" for code, n in sorted(self.codes.items(), key=str))
        return (
            f"{self.name:18} {self.codes.total():6} files  {codes}; "
            f"{self.slowest_s:.1f} s, {self.peak_mb} MB at most; {len(self.faults)} faults"
        )

    def row(self) -> list[str]:
        """Return the tally as the cells of a table."""
        codes = [self.codes[code] for code in (1, 4, 0, 3)]
        cells = [f"`{self.name}`", self.codes.total(), *codes]
        cells += [f"{self.slowest_s:.1f}", self.peak_mb, len(self.faults)]
        return list(map(str, cells))


def hunt(name: str, folder: Path, *, n_wanted: int | None, seed: int) -> Tally:
    """Spoil files of one format and let the program judge them."""
    place = folder / name
    {**SAMPLES, **WHOLE_SAMPLES}[name](place)
    content = place.read_bytes()
    tally = Tally(name=name)
    with Trial() as trial:
        for number, each in enumerate(spoilt(name, content, n_wanted=n_wanted, seed=seed)):
            form = FORMS[number % len(FORMS)]
            place.write_bytes(each.content)
            tally.add(trial.judge(place, form), form, each)
    return tally


def said_on_page(tallies: Sequence[Tally], command: str) -> str:
    """Return what the page says of a run."""
    head = ["picture", "files", "not read", "too small or unfit", "ready", "to clean"]
    head += ["s", "MB", "faults"]
    n_files = sum(tally.codes.total() for tally in tallies)
    n_faults = sum(len(tally.faults) for tally in tallies)
    found = "none of them showed a fault" if n_faults == 0 else f"**{n_faults} showed a fault**"
    return "\n".join(
        [
            f"Last run: {n_files} files, {found}. The longest work and the largest memory are those",
            "of the worst file of each kind.",
            "",
            table(head, (tally.row() for tally in tallies)),
            "",
            f"`{command}`, {made_with('motemap', 'numpy', 'rawpy', 'pillow', 'tifffile')}.",
        ]
    )


def parse() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, help="files of each format; all fields if left out")
    parser.add_argument("--seed", type=int, default=1, help="another one, other damage")
    parser.add_argument("--only", action="append", help="one format; may be repeated")
    parser.add_argument("--keep", type=Path, help="folder for the files that show a fault")
    parser.add_argument("--page", action="store_true", help=f"write the outcome to {PAGE.name}")
    return parser.parse_args()


def command_of(args: argparse.Namespace) -> str:
    """Return the command that does the same again."""
    words = ["python tests/faults/hunt.py"]
    words += [
        f"--{name} {getattr(args, name)}" for name in ("count", "seed") if getattr(args, name)
    ]
    words += [f"--only {name}" for name in args.only or ()]
    return " ".join(words)


def keep_faults(tally: Tally, folder: Path) -> None:
    """Keep the files that show a fault, to be made into fixtures."""
    for number, (_, content) in enumerate(tally.faults, start=1):
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{number}-{tally.name}").write_bytes(content)


def main() -> int:
    args = parse()
    tallies = []
    with tempfile.TemporaryDirectory() as folder:
        for name in args.only or [*SAMPLES, *WHOLE_SAMPLES]:
            tally = hunt(name, Path(folder), n_wanted=args.count, seed=args.seed)
            print(tally.line(), *(what for what, _ in tally.faults), sep="\nFAULT ", flush=True)
            if args.keep is not None:
                keep_faults(tally, args.keep)
            tallies.append(tally)
    if args.page:
        write_outcome("hunt.py", said_on_page(tallies, command_of(args)))
    n_faults = sum(len(tally.faults) for tally in tallies)
    print(f"{n_faults} faults")
    return 1 if n_faults else 0


if __name__ == "__main__":
    sys.exit(main())
