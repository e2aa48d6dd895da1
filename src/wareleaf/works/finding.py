"""What the watch finds: one thing that is wrong, or may be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

FALSE_ALARM = 0.005
"""Chance that one kind of check raises any alarm on a clean stretch (our own choice)."""


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong, or may be.

    Parameters
    ----------
    kind : str
        ``weight``, ``meter``, ``wet``, ``limit``, ``fill``, ``balance``, ``reconcile`` or ``seal``.
    severity : str
        ``stop`` (do not let it go on) or ``due`` (look at it today).
    at : datetime
        When it happened, or since when.
    site, where : str
        Site id, and the place or meter.
    subjects : tuple of str
        Event and lot ids.
    sentence : str
        For people.
    numbers : mapping
        What the sentence rests on.
    """

    kind: str
    severity: str
    at: datetime
    site: str
    where: str
    subjects: tuple[str, ...]
    sentence: str
    numbers: Mapping[str, Any] = field(default_factory=dict)
