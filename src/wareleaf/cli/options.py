"""Options that every command which records something has: when, on which paper, and a note."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click


def recorded(
    *,
    at: str = "When; now when left out.",
    document: str = "Number of its paper.",
    note: str = "Anything worth remembering.",
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Give a command ``--at``, ``--document`` and ``--note``, each with its help.

    An empty help leaves the option out, where the command says it in another way.
    """

    def wrap(run: Callable[..., Any]) -> Callable[..., Any]:
        if note:
            run = click.option("--note", default="", help=note)(run)
        if document:
            run = click.option("--document", default="", help=document)(run)
        return click.option("--at", help=at)(run) if at else run

    return wrap
