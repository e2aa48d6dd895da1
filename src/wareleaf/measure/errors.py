"""The one error for bad input: it names the field, the value and what would be accepted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Problem:
    """One thing wrong with an input.

    Parameters
    ----------
    field : str
        Name of the field as the caller gave it, dotted for nested fields.
    value : Any
        The refused value (None when it is missing).
    message : str
        One clear sentence that says what would be accepted.
    """

    field: str
    value: Any
    message: str


class BadInput(ValueError):
    """Raised when input cannot be used; nothing has been written when it is.

    Parameters
    ----------
    field : str
        Name of the refused field.
    value : Any
        The refused value.
    message : str
        One clear sentence that says what would be accepted.
    others : iterable of Problem
        Further problems found in the same input.
    """

    def __init__(self, field: str, value: Any, message: str, others: Iterable[Problem] = ()):
        self.problems: tuple[Problem, ...] = (Problem(field, value, message), *others)
        super().__init__(message)

    @classmethod
    def of(cls, problems: Iterable[Problem]) -> BadInput:
        """Make one error out of one or more problems."""
        first, *rest = problems
        return cls(first.field, first.value, first.message, rest)


def require(condition: bool, field: str, value: Any, message: str) -> None:
    """Raise `BadInput` unless the condition holds.

    Parameters
    ----------
    condition : bool
        What must be true.
    field, value, message
        As for `BadInput`.

    Raises
    ------
    BadInput
        When the condition is false.
    """
    if not condition:
        raise BadInput(field, value, message)
