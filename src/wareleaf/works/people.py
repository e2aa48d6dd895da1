"""Who may do which job. Roles come from the settings; PINs are kept, scrambled, in the book."""

from __future__ import annotations

import hashlib
import hmac
import secrets

from wareleaf.measure.errors import BadInput
from wareleaf.works.house import Works
from wareleaf.works.settings import Person

PIN_LENGTHS = range(4, 13)
_PIN_KEY = "pin:"
_SCRYPT = {"n": 2**14, "r": 8, "p": 1}

# The manager may do every job but two: results are signed by the lab or the quality manager, and
# only the quality manager releases a lot or confirms a legal limit.
MAY: dict[str, frozenset[str]] = {
    "take in leaf": frozenset({"intake", "operator", "manager"}),
    "run a stage": frozenset({"operator", "manager"}),
    "record a reading": frozenset({"operator", "intake", "lab", "packer", "manager"}),
    "record a result": frozenset({"lab", "quality_manager"}),
    "hold a lot": frozenset({"operator", "lab", "quality_manager", "packer", "manager"}),
    "release a lot": frozenset({"quality_manager"}),
    "run a recall": frozenset({"quality_manager", "manager"}),
    "confirm a limit": frozenset({"quality_manager"}),
    "make a blend": frozenset({"operator", "packer", "manager"}),
    "pack": frozenset({"packer", "manager"}),
    "ship": frozenset({"packer", "manager"}),
    "record site work": frozenset({"intake", "operator", "manager"}),
    "cool leaf": frozenset({"intake", "operator", "packer", "manager"}),
    "grade a lot": frozenset({"operator", "lab", "packer", "quality_manager", "manager"}),
    "build a pallet": frozenset({"packer", "manager"}),
    "receive back": frozenset({"intake", "packer", "quality_manager", "manager"}),
    "rework": frozenset({"operator", "packer", "manager"}),
    "destroy leaf": frozenset({"quality_manager", "manager"}),
    "plan the day": frozenset({"manager"}),
    "correct the book": frozenset({"manager", "quality_manager"}),
    "import sheets": frozenset({"manager"}),
}


class NotAllowed(BadInput):
    """Raised when a person's role does not cover a job."""


def acting(works: Works, person_id: str, job: str, site: str | None = None) -> Person:
    """The person who does a job, if their role and site allow it.

    Raises
    ------
    BadInput
        When the person is unknown.
    NotAllowed
        When their role does not cover the job; the sentence says which roles do.
    """
    person = works.settings.person_of(person_id)
    allowed = MAY[job]
    if allowed.isdisjoint(person.roles):
        raise NotAllowed(
            "who",
            person_id,
            f"{person.name} ({', '.join(person.roles)}) may not {job}; "
            f"that takes the role {' or '.join(sorted(allowed))}.",
        )
    if site and person.sites and site not in person.sites:
        raise NotAllowed(
            "who", person_id, f"{person.name} does not work at {works.settings.site_of(site).name}."
        )
    return person


def set_pin(works: Works, person_id: str, pin: str) -> None:
    """Set a person's PIN: 4 to 12 digits, kept only as a salted scrypt hash."""
    works.settings.person_of(person_id)
    if not pin.isdigit() or len(pin) not in PIN_LENGTHS:
        raise BadInput("pin", "", "pin must be 4 to 12 digits.")
    salt = secrets.token_bytes(16)
    digest = hashlib.scrypt(pin.encode(), salt=salt, **_SCRYPT)
    works.book.settings_put(_PIN_KEY + person_id, f"{salt.hex()}:{digest.hex()}")


def pin_fits(works: Works, person_id: str, pin: str) -> bool:
    """Whether a PIN is the person's; False when none is set."""
    kept = works.book.settings_get(_PIN_KEY + person_id)
    if not isinstance(kept, str) or ":" not in kept:
        return False
    salt, digest = (bytes.fromhex(part) for part in kept.split(":"))
    return hmac.compare_digest(hashlib.scrypt(pin.encode(), salt=salt, **_SCRYPT), digest)
