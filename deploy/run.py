#!/usr/bin/env python3
"""Set up and run, with nothing but Python 3.11 or newer.

    python3 deploy/run.py COMMAND...     run `sieveward COMMAND...`
    python3 deploy/run.py test [ARGS...] run the tests with pytest

The first run makes `.venv` beside this project and installs the pinned and hashed lock; later runs start
at once, until the lock or the Python changes.

This file must at least be readable for an old Python, so that it can say which one is needed.
"""

import hashlib
import importlib.util
import os
import subprocess
import sys
from pathlib import Path

NEEDED = (3, 11)
ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PYTHON = VENV / "bin" / "python"
STAMP = VENV / ".installed"
UNDER_WAY = ROOT / ".venv.under-way"  # outside, since a new start clears the venv
LOCKS = {
    "runtime": ROOT / "deploy" / "requirements.lock",
    "test": ROOT / "deploy" / "requirements-test.lock",
}
LAUNCHER = """#!/bin/sh
'''exec' "{python}" "$0" "$@"
' '''
from collector.cli import main

if __name__ == "__main__":  # a worker process reads this file once more
    main()
"""
TAIL_LINES = 15
SAY_EVERY = 10


class Unusable(Exception):
    """The set-up cannot go on; the text says why and what to do."""


def say(text: str) -> None:
    """One line of progress, away from the command's own output."""
    sys.stderr.write("sieveward set-up: " + text + "\n")
    sys.stderr.flush()


def refuse_wrong_python(version: "tuple[int, ...]", has_venv: bool, platform: str) -> None:
    """Raise Unusable, with the way out, where this Python cannot carry the project."""
    if tuple(version[:2]) < NEEDED:
        have = ".".join(str(part) for part in version[:3])
        raise Unusable(
            f"Python 3.11 or newer is needed, this is {have}.\n"
            "If a newer one is installed, name it: python3.11 deploy/run.py ..."
        )
    if not has_venv:
        raise Unusable(
            "this Python cannot make virtual environments (its ensurepip is missing).\n"
            "On Debian, Ubuntu and Raspberry Pi OS: apt-get install python3-venv"
        )
    if platform == "win32":
        raise Unusable("Linux or macOS is needed. On Windows, run it inside the Linux subsystem (WSL).")


def fingerprint(lock: bytes, version: str, root: str) -> str:
    """What an installation depends on: the lock, the Python, and the place (a venv cannot be moved)."""
    parts = hashlib.sha256(lock)
    parts.update(("\0" + version + "\0" + root).encode())
    return parts.hexdigest()


def wanted(kind: str) -> str:
    """The fingerprint that a venv for `kind` must carry; Unusable where the lock is missing."""
    try:
        lock = LOCKS[kind].read_bytes()
    except FileNotFoundError:
        raise Unusable(f"{LOCKS[kind]} is missing: this checkout is not complete. Get it again.") from None
    return fingerprint(lock, sys.version, str(ROOT))


def is_current(kind: str) -> bool:
    """Whether the venv serves `kind`; the test lock holds everything that the runtime lock holds."""
    serving = {wanted(kind)}
    if kind == "runtime" and LOCKS["test"].exists():
        serving.add(wanted("test"))
    if not PYTHON.exists() or not STAMP.exists() or UNDER_WAY.exists():
        return False
    return STAMP.read_text(encoding="ascii").strip() in serving


def is_reusable() -> bool:
    """Whether packages can be installed over what is there: whole, and made by this very Python."""
    if UNDER_WAY.exists() or not PYTHON.exists():
        return False
    asked = subprocess.run(
        [str(PYTHON), "-c", "import sys, pip; print(sys.version)"],
        capture_output=True,
        text=True,
        check=False,
    )
    return asked.returncode == 0 and asked.stdout.strip() == sys.version.strip()


def install(kind: str, held: int) -> None:
    """Make `.venv` hold the lock `kind`; when it fails or is broken off, the next run begins anew.

    `held` is the open lock file; pip inherits it, since it goes on for a while when only this script is killed.
    """
    import venv  # after the check that this Python has one

    reusable = is_reusable()
    UNDER_WAY.touch()
    STAMP.unlink(missing_ok=True)
    if reusable:
        say(f"bringing .venv up to date with deploy/{LOCKS[kind].name}")
    else:
        say(f"making .venv with Python {sys.version.split()[0]}")
        venv.EnvBuilder(clear=True, with_pip=True, symlinks=True).create(VENV)
    install_packages(LOCKS[kind], held)
    put_on_path()
    STAMP.write_text(wanted(kind) + "\n", encoding="ascii")
    UNDER_WAY.unlink()
    say("ready")


def install_packages(lock: Path, held: int) -> None:
    """Install exactly the lock, every file checked by its hash; Unusable with pip's last words otherwise."""
    total = sum("==" in line for line in lock.read_text(encoding="utf-8").splitlines())
    say(f"installing {total} packages from deploy/{lock.name} (the first time: up to a few minutes)")
    command = [str(PYTHON), "-m", "pip", "install", "--disable-pip-version-check", "--progress-bar", "off"]
    command += ["--require-hashes", "--no-deps", "--only-binary", ":all:", "-r", str(lock)]
    words = []
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace", pass_fds=[held]
    ) as pip:
        for line in pip.stdout or ():
            words.append(line.rstrip())
            seen = sum(word.startswith(("Collecting ", "Processing ")) for word in words)
            if line.startswith(("Collecting ", "Processing ")) and seen % SAY_EVERY == 0:
                say(f"  {seen} of {total}")
            elif line.startswith("Installing collected"):
                say("  unpacking")
    if pip.returncode != 0:
        said = "\n".join(words[-TAIL_LINES:])
        raise Unusable(
            f"pip could not install deploy/{lock.name} (exit status {pip.returncode}). Its last lines:\n"
            f"{said}\n"
            "The usual causes: no network, or no ready-made package for this machine (64-bit Linux on Intel, "
            "AMD or ARM has them). Run the same command again when it is put right; it begins anew."
        )


def put_on_path() -> None:
    """Let the venv's Python import the project where it lies, and write the `sieveward` launcher."""
    version = f"python{sys.version_info[0]}.{sys.version_info[1]}"
    (VENV / "lib" / version / "site-packages" / "sieveward.pth").write_text(f"{ROOT}\n", encoding="utf-8")
    launcher = VENV / "bin" / "sieveward"
    launcher.write_text(LAUNCHER.format(python=PYTHON), encoding="utf-8")
    launcher.chmod(0o755)


def ensure(kind: str) -> None:
    """Return when the venv serves `kind`; of two that start at once, one installs and the other waits."""
    if is_current(kind):
        return
    import fcntl  # after the check of the platform

    with (ROOT / ".venv.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("another set-up is at work in this folder; waiting for it")
            fcntl.flock(lock, fcntl.LOCK_EX)
        if not is_current(kind):
            install(kind, lock.fileno())


def command_line(arguments: "list[str]") -> "list[str]":
    """What the venv's Python is to run for these arguments."""
    if arguments[0] == "test":
        return [str(PYTHON), "-m", "pytest", *arguments[1:]]
    return [str(PYTHON), str(VENV / "bin" / "sieveward"), *arguments]


def main(arguments: "list[str]") -> None:
    """Set up what is missing, then become the command: its exit status and its signals are its own."""
    if not arguments or arguments[0] in ("-h", "--help"):
        sys.stderr.write(__doc__.rsplit("\n\n", 1)[0] + "\n\nTry: python3 deploy/run.py demo\n")
        raise SystemExit(0 if arguments else 2)
    has_venv = importlib.util.find_spec("ensurepip") is not None
    refuse_wrong_python(sys.version_info[:3], has_venv, sys.platform)
    ensure("test" if arguments[0] == "test" else "runtime")
    if arguments[0] == "test":
        os.chdir(ROOT)
    command = command_line(arguments)
    sys.stderr.flush()
    os.execv(command[0], command)  # noqa: S606 - no shell is wanted: signals and the status must reach the caller


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except Unusable as reason:
        say(str(reason))
        sys.exit(1)
    except KeyboardInterrupt:
        say("broken off; the next run begins anew")
        sys.exit(130)
