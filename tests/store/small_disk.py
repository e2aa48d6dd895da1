"""A disk that is full for real: a small file system in memory where this user may mount one, and
the kernel's limit on file sizes, which anyone may set, everywhere."""

from __future__ import annotations

import contextlib
import os
import resource
import shutil
import subprocess
import tempfile
from pathlib import Path


class MemoryDisk:
    """A tmpfs of a few megabytes."""

    def __init__(self, folder: Path, megabytes: int = 8):
        self.folder = folder
        folder.mkdir(exist_ok=True)
        self._ballast = folder / "ballast"
        argv = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", str(folder)]
        subprocess.run(argv, check=True, capture_output=True, timeout=20)

    @contextlib.contextmanager
    def full(self):
        with self._ballast.open("wb", buffering=0) as file:
            block = b"\0" * 65536
            while block:
                try:
                    file.write(block)
                except OSError:
                    block = block[: len(block) // 2]
        try:
            yield
        finally:
            self._ballast.unlink()

    def close(self) -> None:
        subprocess.run(["umount", "-l", str(self.folder)], check=True, timeout=20)


class LimitedFiles:
    """No file may grow beyond a kilobyte; Python ignores the signal, so writes fail."""

    def __init__(self, folder: Path):
        self.folder = folder
        folder.mkdir(exist_ok=True)

    @contextlib.contextmanager
    def full(self):
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (1024, before[1]))
        try:
            yield
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)

    def close(self) -> None:
        return


def _can_mount() -> bool:
    if os.geteuid() != 0 or not shutil.which("mount"):
        return False
    probe = Path(tempfile.gettempdir()) / f"wareleaf-mount-{os.getpid()}"
    try:
        MemoryDisk(probe, 1).close()
    except (subprocess.SubprocessError, OSError):
        return False
    finally:
        with contextlib.suppress(OSError):
            probe.rmdir()
    return True


DISKS = [LimitedFiles, MemoryDisk] if _can_mount() else [LimitedFiles]
