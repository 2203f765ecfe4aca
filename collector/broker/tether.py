"""Become another program that ends when its starter ends, however the starter ended.

Run by path: `python tether.py STARTER_PID PROGRAM ARGUMENTS...`. Linux only keeps the promise (prctl
PR_SET_PDEATHSIG, man page prctl(2)); elsewhere the program is started all the same. Setting it in a small
program of its own, and not between fork and exec of the starter, is safe while the starter has threads.
"""

import ctypes
import os
import signal
import sys

PR_SET_PDEATHSIG = 1


def main(starter_pid: int, command: list[str]) -> None:
    """Replace this process by `command`; exit status 127 where it cannot be run."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
    if os.getppid() != starter_pid:  # it ended before the promise was made
        sys.exit(1)
    try:
        os.execv(command[0], command)  # noqa: S606 - no shell is wanted
    except OSError as fault:
        sys.stderr.write(f"{command[0]}: {fault.strerror}\n")
        sys.exit(127)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2:])
