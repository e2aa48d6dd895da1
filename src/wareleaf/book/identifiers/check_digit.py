"""The GS1 check digit: weights 3, 1, 3, 1 from the right, to the next ten.

Source: GS1 General Specifications section 7.9.1 (from memory; checked in the tests against the
vectors of the GS1 Syntax Dictionary and published worked examples).
"""

from __future__ import annotations

from wareleaf.measure.errors import require


def check_digit(body: str) -> str:
    """Check digit of a key without it.

    Parameters
    ----------
    body : str
        Digits only, at least one.
    """
    require(
        body.isascii() and body.isdigit(),
        "key",
        body,
        f"{body!r} has other characters than digits; give digits only.",
    )
    total = sum(int(d) * (3 if k % 2 == 0 else 1) for k, d in enumerate(reversed(body)))
    return str(-total % 10)


def has_good_check_digit(key: str) -> bool:
    """Whether the last digit of a key is its check digit."""
    good = len(key) > 1 and key.isascii() and key.isdigit()
    return good and check_digit(key[:-1]) == key[-1]


def with_check_digit(body: str) -> str:
    """The key with its check digit behind."""
    return body + check_digit(body)
