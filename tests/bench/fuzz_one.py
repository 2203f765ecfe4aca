"""One target under a coverage-guided fuzzer, in a process of its own: TARGET CORPUS [libFuzzer's options].

The fuzzer mutates what led to new branches in our modules. A crash, a slow input (10 s) or more than 1 GB ends it with
the input written down.
"""

from __future__ import annotations

import sys

import atheris

with atheris.instrument_imports(include=["collector"]):
    from tests.bench.fuzz_targets import TARGETS


def main() -> None:
    """Never returns: the fuzzer ends the process."""
    name = sys.argv.pop(1)
    atheris.Setup(sys.argv, TARGETS[name])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
