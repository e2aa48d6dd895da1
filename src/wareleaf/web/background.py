"""Serves the app beside the work of this process: for pictures, benchmarks and browser tests."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn

from wareleaf.web.app import create_app
from wareleaf.works.house import Works

HOST = "127.0.0.1"
START_S = 30.0


@contextmanager
def served(works: Works) -> Iterator[str]:
    """The app on a free port of this machine; its address. The port is free again afterwards.

    Raises
    ------
    RuntimeError
        When the app does not start in time.
    """
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port = int(probe.getsockname()[1])
    config = uvicorn.Config(create_app(works), host=HOST, port=port, log_level="error")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    end = time.monotonic() + START_S
    while not server.started and time.monotonic() < end:
        time.sleep(0.02)
    if not server.started:
        raise RuntimeError(f"the app did not start within {START_S:g} s")
    try:
        yield f"http://{HOST}:{port}"
    finally:
        server.should_exit = True
        thread.join(timeout=10.0)
