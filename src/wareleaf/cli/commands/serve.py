"""Serve the pages of a works to the tablets and the office."""

from __future__ import annotations

import socket
from dataclasses import replace
from pathlib import Path

import click

TRIES = 20


def free_port(host: str, wanted: int) -> int:
    """The wanted port, or the next one that is free.

    Raises
    ------
    BadInput
        When none of the next ports is free, or the host is not one of this machine.
    """
    from wareleaf.measure.errors import BadInput

    last = min(wanted + TRIES, 65536)
    for port in range(wanted, last):
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        with socket.socket(family, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError:
                continue
            return port
    raise BadInput(
        "port",
        wanted,
        f"No port from {wanted} to {last - 1} is free on {host}; give another with --port.",
    )


@click.command("serve")
@click.argument("folder", type=click.Path(path_type=Path), default=Path())
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option(
    "--port",
    default=8460,
    show_default=True,
    type=click.IntRange(1, 65535),
    help="Port; the next free one is taken when it is in use.",
)
def command(folder: Path, host: str, port: int) -> None:
    """Serve the works in FOLDER (this folder by default) until Ctrl-C."""
    import uvicorn

    from wareleaf.web.app import create_app
    from wareleaf.works.demo.opening import demo_clock, is_demo
    from wareleaf.works.house import open_works

    works = open_works(folder)
    if is_demo(works):
        works = replace(works, clock=demo_clock(works))
    chosen = free_port(host, port)
    if chosen != port:
        click.echo(f"Port {port} is in use; taking {chosen}.", err=True)
    shown = f"[{host}]" if ":" in host else host
    click.echo(f"{works.settings.firm.name}: http://{shown}:{chosen}/  (Ctrl-C stops it)")
    uvicorn.run(create_app(works), host=host, port=chosen, log_level="warning")
