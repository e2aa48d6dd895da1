"""A PostgreSQL server of the tests' own: a fresh cluster in a temporary folder, no service."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from pathlib import Path


def find_bin() -> Path:
    """The folder with initdb and pg_ctl, or one clear sentence."""
    found = [Path(p) for p in [shutil.which("initdb")] if p]
    found += sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), reverse=True)
    for path in found:
        folder = path.resolve().parent
        if (folder / "pg_ctl").exists():
            return folder
    raise AssertionError(
        "The PostgreSQL tests need initdb, and there is none in PATH or /usr/lib/postgresql/*/bin; "
        "run: apt-get install -y --no-install-recommends postgresql"
    )


def _free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def _children(pid: int) -> list[int]:
    """Processes that the postmaster began; only its own are ever touched."""
    found = Path(f"/proc/{pid}/task/{pid}/children").read_text()
    return [int(p) for p in found.split()]


def _is_dead(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] in "ZX"
    except OSError:
        return True


class Server:
    """Started on entry, stopped and removed on exit.

    Parameters
    ----------
    durable : bool
        Sync to disk as a works would; without it tests are quicker, and a crash may lose data.
    """

    def __init__(self, *, durable: bool = False) -> None:
        self.durable = durable
        self.bin = find_bin()
        self.folder = Path(tempfile.mkdtemp(prefix="wareleaf-pg-"))
        self.port = _free_port()
        self.places = 0

    def _run(self, *command: str) -> None:
        argv = list(command)
        if os.geteuid() == 0:  # the server refuses to run as root
            runuser = shutil.which("runuser") or "/sbin/runuser"
            argv = [runuser, "-u", "postgres", "--", *argv]
        done = subprocess.run(
            argv, capture_output=True, text=True, check=False, timeout=60, cwd=self.folder
        )
        log = self.folder / "log"
        told = log.read_text()[-2000:] if done.returncode and log.exists() else ""
        assert done.returncode == 0, f"{argv} failed: {done.stderr or done.stdout} {told}"

    def __enter__(self) -> Server:
        if os.geteuid() == 0:
            owner = pwd.getpwnam("postgres")
            os.chown(self.folder, owner.pw_uid, owner.pw_gid)
        data = str(self.folder / "data")
        self._run(str(self.bin / "initdb"), "-D", data, "-U", "postgres", "-A", "trust",
                  "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")  # fmt: skip
        self._start()
        return self

    def _start(self) -> None:
        data, log = str(self.folder / "data"), str(self.folder / "log")
        options = (
            f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1 -c max_connections=60"
        )
        if not self.durable:
            options += " -c fsync=off -c synchronous_commit=off -c full_page_writes=off"
        self._run(str(self.bin / "pg_ctl"), "-D", data, "-l", log, "-w", "-o", options, "start")

    def kill_and_start(self) -> None:
        """Kill -9 the postmaster and every process of it, as when the mains fail; start again."""
        pid = int((self.folder / "data" / "postmaster.pid").read_text().split()[0])
        os.kill(pid, signal.SIGSTOP)  # so that it begins no process unseen
        children = _children(pid)
        for process in (pid, *children):
            with contextlib.suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
        while not all(map(_is_dead, (pid, *children))):
            time.sleep(0.01)
        # Where nobody collects dead processes, the numbers in these still stand for one.
        for left in (self.folder / "data" / "postmaster.pid", *self.folder.glob(".s.PGSQL.*")):
            left.unlink(missing_ok=True)
        self._start()

    def __exit__(self, *_: object) -> None:
        data = str(self.folder / "data")
        try:
            self._run(str(self.bin / "pg_ctl"), "-D", data, "-m", "immediate", "-w", "stop")
        finally:
            shutil.rmtree(self.folder, ignore_errors=True)

    def new_database(self) -> str:
        """URL of a new, empty place: a schema of its own, far cheaper than a database."""
        import psycopg

        self.places += 1
        name = f"book{self.places}"
        server = f"postgresql://postgres@127.0.0.1:{self.port}/postgres"
        with psycopg.connect(server, autocommit=True) as connection:
            connection.execute(f"CREATE SCHEMA {name}")  # type: ignore[call-overload]
        return f"{server}?options=-csearch_path%3D{name}"
