"""The command that serves the pages."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from click.testing import CliRunner
from web_works import Seeded

from wareleaf.cli.commands.serve import command, free_port
from wareleaf.measure.errors import BadInput


def test_a_taken_port_gives_way_to_the_next() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert port < free_port("127.0.0.1", port) <= port + 20


def test_a_host_of_another_machine_is_refused() -> None:
    with pytest.raises(BadInput, match="give another with --port"):
        free_port("192.0.2.1", 8460)  # TEST-NET-1, RFC 5737: never an address of this machine


def test_a_folder_without_works_is_said(tmp_path: Path) -> None:
    answer = CliRunner().invoke(command, [str(tmp_path)])
    assert isinstance(answer.exception, BadInput)
    assert "holds no works" in str(answer.exception)


@pytest.mark.slow
def test_the_command_serves_and_says_where(seeded: Seeded) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        folder = str(seeded.works.folder)
        served = subprocess.Popen(
            [sys.executable, "-m", "wareleaf", "serve", folder, "--port", str(port)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            assert served.stdout
            line = served.stdout.readline()
            found = re.search(r"http://127\.0\.0\.1:(\d+)/", line)
            assert found and int(found.group(1)) > port
            transport = httpx.HTTPTransport(retries=8)
            with httpx.Client(transport=transport, timeout=20.0) as client:
                assert client.get(found.group(0) + "health").json() == {"status": "open"}
                assert "Ostravane Leaf" in client.get(found.group(0), follow_redirects=True).text
        finally:
            served.send_signal(signal.SIGINT)
            served.wait(timeout=20)
