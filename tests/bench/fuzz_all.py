"""Every target of fuzz_targets under a coverage-guided fuzzer, one after the other: runs, seconds, greatest memory.

It needs Atheris, which the tests do not: `pip install sieveward[fuzz]`. Inputs that are found stay in --corpus, so that
a later run goes on from them. Usage: python -m tests.bench.fuzz_all [--runs N] [--only TARGET] [--corpus DIR]
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.each_broker import Row, show
from tests.bench.fuzz_targets import TARGETS, seeds

MAX_BYTES = 4096
#: Of a million, by how much of the outside comes that way and by how long one takes.
SHARES = {"payload": 0.55, "wire": 0.15, "recording": 0.15, "profile": 0.05, "site": 0.05, "ways": 0.03,
          "files": 0.015, "flood": 0.005}  # fmt: skip
LIMITS = (f"-max_len={MAX_BYTES}", "-timeout=10", "-rss_limit_mb=1024", "-print_final_stats=1", "-verbosity=0")


def fuzz(name: str, runs: int, corpus: Path, seed: int) -> Row:
    """One target; `failed` is 1 when an input broke a promise, and that input lies beside the corpus."""
    folder = corpus / name
    folder.mkdir(parents=True, exist_ok=True)
    for number, data in enumerate(seeds(name)):
        (folder / f"seed-{number}").write_bytes(data)
    argv = [sys.executable, "-m", "tests.bench.fuzz_one", name, *LIMITS, f"-runs={runs}", f"-seed={seed}"]
    argv += [f"-artifact_prefix={corpus}/{name}-", str(folder)]
    began_s = time.monotonic()
    done = subprocess.run(argv, capture_output=True, text=True, errors="replace", check=False)
    if done.returncode:
        sys.stderr.write(done.stderr[-4000:])
    found = dict(re.findall(r"stat::(\w+):\s+(\d+)", done.stderr))
    return {
        "target": name, "runs": str(found.get("number_of_executed_units", "?")),
        "peak_rss_mb": str(found.get("peak_rss_mb", "?")), "corpus": str(len(list(folder.iterdir()))),
        "took_s": f"{time.monotonic() - began_s:.0f}", "failed": str(int(done.returncode != 0)),
    }  # fmt: skip


def main() -> int:
    """0 when nothing failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=1_000_000, help="of all targets together")
    parser.add_argument("--only", choices=TARGETS, action="append")
    parser.add_argument("--corpus", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        rows = []
        for target in args.only or TARGETS:
            rows.append(fuzz(target, int(args.runs * SHARES[target]), args.corpus or Path(name), args.seed))
            show(rows[-1:])
    return int(any(row["failed"] != "0" for row in rows))


if __name__ == "__main__":
    sys.exit(main())
