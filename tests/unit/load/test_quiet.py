"""What C code prints does not reach the terminal, what Python prints does."""

import subprocess
import sys

SCRIPT = """
import os, sys
from motemap.load import quiet_decoders
print("before", file=sys.stderr)
with quiet_decoders():
    os.write(2, b"from C\\n")
    print("inside", file=sys.stderr)
os.write(2, b"from C later\\n")
print("after", file=sys.stderr)
"""

WITHOUT = """
import io, sys
from motemap.load import quiet_decoders
for stream in (io.StringIO(), None):
    sys.stderr = stream
    with quiet_decoders():
        assert sys.stderr is stream
"""


def run(script: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    return done.stderr.splitlines()


def test_only_the_decoder_is_silenced() -> None:
    assert run(SCRIPT) == ["before", "inside", "from C later", "after"]


def test_a_replaced_stream_is_left_alone() -> None:
    assert run(WITHOUT) == []
