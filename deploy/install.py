#!/usr/bin/env python3
"""Install, upgrade and take back an upgrade on a machine with systemd; nothing but Python 3.11 is needed.

    sudo python3 deploy/install.py install     put this version on the machine; run again, it mends what is missing
    sudo python3 deploy/install.py upgrade     a safe copy, this version beside the old one, then the switch
    sudo python3 deploy/install.py rollback    back to the version before, with the data as they were if need be
    python3 deploy/install.py status           which versions are there, and which one runs

--dry-run says what would be done and does nothing. --root DIR works on a tree below DIR and leaves the running
system alone (no user, no services, no packages): for images, and for trying it out.
"""

import argparse
import hashlib
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).resolve().parent
SOURCE = HERE.parent
#: What a version consists of; everything else of a checkout stays behind.
PARTS = ("collector", "dashboard", "simulator", "deploy", "pyproject.toml", "README.md", "DEVELOPERS.md")
USER = "sieveward"
TARGET = "sieveward.target"
TIMER = "sieveward-keep.timer"
CANNOT_READ = 2  # exit status of `sieveward journal verify`; 1 is a broken journal, which no copy need mend


class Unusable(Exception):
    """It cannot go on; the text says why and what to do."""


def say(text: str) -> None:
    """One line to the person at the terminal."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


class Machine:
    """Where things go, and the only hands that touch the machine: `dry` says it, `offline` leaves services alone."""

    def __init__(self, root: Path, dry: bool) -> None:
        self.root, self.dry, self.offline = root, dry, root != Path("/")
        self.versions = self.root / "opt/sieveward/versions"
        self.current, self.previous = (self.root / "opt/sieveward" / name for name in ("current", "previous"))
        self.config = self.root / "etc/sieveward"
        self.state = self.root / "var/lib/sieveward"
        self.data = self.state / "data"
        self.copies = self.state / "before-upgrade"
        self.disk = self.root / "srv/sieveward-copies"
        self.units = self.root / "etc/systemd/system"
        self.journald = self.root / "etc/systemd/journald.conf.d/sieveward.conf"

    def run(self, *command: object, may_fail: bool = False) -> int:
        """Run a command of the running system and return its exit status. Below --root it is said only."""
        words = " ".join(map(str, command))
        if self.dry or self.offline:
            say("  would run: " + words)
            return 0
        status = subprocess.run(list(map(str, command)), check=False).returncode
        if status != 0 and not may_fail:
            raise Unusable(f"this failed with exit status {status}: {words}")
        return status

    def sieveward(self, version: Path, *arguments: object, may_fail: bool = False) -> int:
        """Run a version's own command, as the user that owns the data."""
        program = version / ".venv/bin/sieveward"
        return self.run("runuser", "-u", USER, "--", program, *arguments, may_fail=may_fail)

    def folder(self, path: Path, mode: int = 0o755, own: bool = False) -> None:
        """A folder that must be there."""
        if not path.is_dir():
            say(f"  makes {path}")
            if not self.dry:
                path.mkdir(parents=True, mode=mode)
        if own:
            self.run("chown", f"{USER}:{USER}", path)

    def copy(self, source: Path, target: Path) -> None:
        """A file that must be as it is here."""
        if target.exists() and target.read_bytes() == source.read_bytes():
            return
        say(f"  writes {target}")
        if not self.dry:
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, target)

    def link(self, link: Path, target: Path) -> None:
        """Point a link elsewhere, in one step."""
        say(f"  {link} -> {target}")
        if not self.dry:
            fresh = link.with_name(f".{link.name}.new")
            fresh.unlink(missing_ok=True)
            fresh.symlink_to(target)
            fresh.replace(link)


def version_name(source: Path) -> str:
    """The name of what lies in a checkout: its version and a sum over its files, so that equal ones are one."""
    total = hashlib.sha256()
    for file in files_of(source):
        total.update(str(file.relative_to(source)).encode() + b"\0" + file.read_bytes() + b"\0")
    lines = (source / "pyproject.toml").read_text(encoding="utf-8").splitlines()
    number = next(line.split('"')[1] for line in lines if line.startswith("version"))
    return f"{number}-{total.hexdigest()[:10]}"


def files_of(source: Path) -> Iterator[Path]:
    """The files of a version, in a fixed order."""
    for part in PARTS:
        path = source / part
        found = sorted(path.rglob("*")) if path.is_dir() else [path]
        yield from (file for file in found if file.is_file() and "__pycache__" not in file.parts)


def place(machine: Machine, source: Path) -> Path:
    """Put a checkout beside the versions that are there, with its own .venv; returns its folder."""
    version = machine.versions / version_name(source)
    say(f"  {version}")
    if not version.is_dir() and not machine.dry:
        half = version.with_name(f".{version.name}.half")
        shutil.rmtree(half, ignore_errors=True)
        for file in files_of(source):
            target = half / file.relative_to(source)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(file, target)
        half.rename(version)
    machine.run(sys.executable, version / "deploy/run.py", "check", "--help")
    machine.run("chmod", "-R", "a+rX", version)  # whatever the umask was: the services are another user's
    return version


def prepare(machine: Machine) -> None:
    """User and folders."""
    if machine.run("getent", "passwd", USER, may_fail=True) != 0:
        machine.run("useradd", "--system", "--home-dir", machine.state, "--shell", "/usr/sbin/nologin", USER)
    for path in (machine.versions, machine.units, machine.disk, machine.root / "usr/local/bin"):
        machine.folder(path)
    for path in (machine.config, machine.config / "bridges", machine.state, machine.data, machine.copies):
        machine.folder(path, 0o750, own=True)
    machine.run("chown", f"{USER}:{USER}", machine.disk, may_fail=True)


def put_units(machine: Machine) -> None:
    """The services of this version, and the limits of the logs."""
    folder = HERE / "systemd"
    for unit in sorted(folder.glob("sieveward*")):
        machine.copy(unit, machine.units / unit.name)
    machine.copy(folder / "journald-sieveward.conf", machine.journald)
    machine.link(machine.root / "usr/local/bin/sieveward", machine.current / ".venv/bin/sieveward")
    machine.run("systemctl", "daemon-reload")


def install(machine: Machine) -> None:
    """Put this version on the machine; start it once there is a site file and its keys."""
    prepare(machine)
    version = place(machine, SOURCE)
    if machine.current.is_symlink() and machine.current.resolve() != version.resolve():
        raise Unusable(f"{machine.current} is another version: use `upgrade`, which makes a safe copy first")
    machine.link(machine.current, version)
    put_units(machine)
    machine.run("systemctl", "enable", TARGET, TIMER)
    missing = [path for path in (machine.config / "site.toml", machine.config / "keys") if not path.exists()]
    if missing:
        say(f"Installed. Still to do before it can start: {', '.join(map(str, missing))} (deploy/INSTALL.md, step 3).")
        return
    machine.run("systemctl", "start", TARGET, TIMER)
    say("Installed and started. Now try the alarm's way: sieveward check --live")


def running(machine: Machine) -> Path:
    """The folder of the version in use."""
    if not machine.current.is_symlink():
        raise Unusable(f"{machine.current} is not there: nothing is installed. Use `install`.")
    return machine.current.resolve()


def upgrade(machine: Machine) -> None:
    """A safe copy, the new version beside the old one, the switch; back again when the collector does not start."""
    old = running(machine)
    machine.folder(machine.copies, 0o750, own=True)
    new = place(machine, SOURCE)
    if new.resolve() == old:
        return say("This version runs already.")
    if (machine.config / "site.toml").exists():
        machine.sieveward(new, "check", machine.config / "site.toml")
    machine.run("systemctl", "stop", TARGET)
    try:
        keep(machine, old)
    except Unusable:
        start(machine)
        raise
    machine.link(machine.previous, old)
    machine.link(machine.current, new)
    put_units(machine)
    if start(machine):
        prune(machine)
        say(f"{new.name} runs. If it is not good: rollback. Now try the alarm's way: sieveward check --live")
        return
    say("The new version does not start; going back.")
    rollback(machine)
    raise Unusable("the upgrade was taken back; `journalctl -u sieveward-collector` says why it did not start")


def keep(machine: Machine, old: Path) -> None:
    """A safe copy of what there is, made by the version that wrote it."""
    if (machine.data / "store.sqlite3").exists():
        machine.sieveward(old, "keep", "now", "--data", machine.data, "--to", machine.copies, "--same-disk",
                          "--daily", "2", "--weekly", "0", "--monthly", "0")  # fmt: skip


def prune(machine: Machine) -> None:
    """Remove versions that are neither in use nor the way back."""
    stay = {machine.current.resolve(), machine.previous.resolve()}
    for version in () if machine.dry else machine.versions.iterdir():
        if version.resolve() not in stay:
            say(f"  removes {version}")
            shutil.rmtree(version)


def start(machine: Machine) -> bool:
    """Start everything; whether the collector came up (it says so itself, Type=notify)."""
    machine.run("systemctl", "start", TARGET, TIMER, may_fail=True)
    up = machine.run("systemctl", "start", "sieveward-collector.service", may_fail=True) == 0
    machine.run("systemctl", "try-restart", "sieveward-bridge@*.service", may_fail=True)
    return up


def rollback(machine: Machine) -> None:
    """Back to the version before; a store that it cannot read is set aside and the safe copy put in its place."""
    if not machine.previous.is_symlink():
        raise Unusable(f"{machine.previous} is not there: no version to go back to.")
    old, new = machine.previous.resolve(), running(machine)
    machine.run("systemctl", "stop", TARGET)
    if (machine.data / "store.sqlite3").exists():
        verified = machine.sieveward(old, "journal", "verify", "--data", machine.data, may_fail=True)
        if verified == CANNOT_READ:
            put_copy_back(machine, old)
    machine.link(machine.current, old)
    machine.link(machine.previous, new)
    if not start(machine):
        raise Unusable("the version before does not start either: `journalctl -u sieveward-collector` says why")
    say(f"{old.name} runs again.")


def put_copy_back(machine: Machine, old: Path) -> None:
    """The data as they were before the upgrade; what came after stays beside them, and nothing is thrown away."""
    copies = sorted(machine.copies.glob("sieveward-*"), key=lambda path: path.name.rsplit("-", 1)[-1])
    if not copies:
        raise Unusable(f"the version before cannot read the store, and {machine.copies} holds no copy to put back")
    aside = machine.data.with_name(f"data-set-aside-{time.strftime('%Y%m%dT%H%M%S')}")
    say(f"  the version before cannot read the store: it goes to {aside}, {copies[-1].name} is put back")
    if machine.dry:
        return
    machine.data.rename(aside)
    try:
        machine.sieveward(old, "restore", copies[-1], "--data", machine.data, "--who", "rollback")
    except Unusable:
        if not machine.data.exists():
            aside.rename(machine.data)
        raise
    say(f"  what was stored since that copy is in {aside} only")


def status(machine: Machine) -> None:
    """Which versions are there."""
    found = sorted(machine.versions.glob("[!.]*"))
    for version in found:
        marks = [link.name for link in (machine.current, machine.previous) if link.resolve() == version.resolve()]
        sys.stdout.write(f"{version.name}  {' '.join(marks)}\n".rstrip() + "\n")
    if not found:
        say("nothing is installed")


WORKS = {"install": install, "upgrade": upgrade, "rollback": rollback, "status": status}


def main(arguments: list[str]) -> None:
    """Read the command line and do the work."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("work", choices=sorted(WORKS))
    parser.add_argument("--root", default="/", metavar="DIR")
    parser.add_argument("--dry-run", action="store_true")
    asked = parser.parse_args(arguments)
    machine = Machine(Path(asked.root).absolute(), asked.dry_run)
    if asked.work != "status" and not machine.offline and not machine.dry and os.geteuid() != 0:
        raise Unusable("this changes the machine: run it with sudo, or with --dry-run to see what it would do")
    WORKS[asked.work](machine)


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except (Unusable, OSError) as reason:
        say(f"sieveward install: {reason}. Once that is put right, run it again: it goes on from here.")
        sys.exit(1)
