"""Who is signed in on this tablet, and for which site."""

from __future__ import annotations

import secrets

from fastapi import Request

from wareleaf.works.house import Works
from wareleaf.works.settings import Person, Site

_SECRET = "web:secret"


def secret(works: Works) -> str:
    """The key that signs session cookies; made once and kept in the book's own settings."""
    kept = works.book.settings_get(_SECRET)
    if not isinstance(kept, str):
        kept = secrets.token_hex(32)
        works.book.settings_put(_SECRET, kept)
    return kept


def works_of(request: Request) -> Works:
    """The open works."""
    works: Works = request.app.state.works
    return works


def person_id(request: Request) -> str | None:
    """Id of the person signed in."""
    found = request.session.get("who") if "session" in request.scope else None
    known = {p.id for p in works_of(request).settings.person}
    return str(found) if found in known else None


def person(request: Request) -> Person:
    """The person signed in."""
    return works_of(request).settings.person_of(person_id(request) or "")


def site(request: Request) -> Site:
    """The site whose pages are shown: the one chosen, else the person's first, else the first."""
    settings = works_of(request).settings
    chosen = request.session.get("site")
    own = person(request).sites
    known = {s.id: s for s in settings.site}
    if chosen in known:
        return known[chosen]
    return known[own[0]] if own else settings.site[0]


def remember(request: Request, **values: str) -> None:
    """Keep small choices of this tablet (a scale, a tare), so that they stand there next time."""
    request.session["kept"] = {**request.session.get("kept", {}), **values}


def remembered(request: Request, name: str, default: str = "") -> str:
    """A choice this tablet made last time."""
    return str(request.session.get("kept", {}).get(name, default))


def look_at(request: Request, site_id: str) -> None:
    """Turn the pages to the site of what is looked at, so that the next page fits."""
    if site(request).id != site_id:
        request.session["site"] = site_id


def say(request: Request, text: str) -> None:
    """Leave a line that the next page shows once."""
    request.session["said"] = text


def said(request: Request) -> str:
    """Take the line left by the last page."""
    return str(request.session.pop("said", ""))
