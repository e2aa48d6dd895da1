"""A PostgreSQL server of the tests' own: a fresh cluster in a temporary folder, no service."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
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


class Server:
    """Started on entry, stopped and removed on exit."""

    def __init__(self) -> None:
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
        assert done.returncode == 0, f"{' '.join(argv)} failed: {done.stderr or done.stdout}"

    def __enter__(self) -> Server:
        if os.geteuid() == 0:
            owner = pwd.getpwnam("postgres")
            os.chown(self.folder, owner.pw_uid, owner.pw_gid)
        data = str(self.folder / "data")
        self._run(str(self.bin / "initdb"), "-D", data, "-U", "postgres", "-A", "trust",
                  "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")  # fmt: skip
        options = (
            f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1 -c fsync=off "
            "-c synchronous_commit=off -c full_page_writes=off -c max_connections=60"
        )
        log = str(self.folder / "log")
        self._run(str(self.bin / "pg_ctl"), "-D", data, "-l", log, "-w", "-o", options, "start")
        return self

    def __exit__(self, *_: object) -> None:
        data = str(self.folder / "data")
        self._run(str(self.bin / "pg_ctl"), "-D", data, "-m", "immediate", "-w", "stop")
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
