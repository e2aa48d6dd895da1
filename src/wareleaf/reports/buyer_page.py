"""One HTML file with which a buyer checks receipts and proofs, offline and without a program."""

from __future__ import annotations

from pathlib import Path

PARTS = Path(__file__).parent / "buyer"


def buyer_page() -> str:
    """The page, whole: its scripts stand in it, so that it can be sent and opened as a file."""
    page = (PARTS / "page.html").read_text("utf-8")
    for mark, name in (("CRYPTO", "crypto.js"), ("CHECK", "check.js"), ("SHOW", "show.js")):
        script = (PARTS / name).read_text("utf-8")
        # Nothing in a script may end the element it stands in.
        page = page.replace(f"/* {mark} */", script.replace("</script", "<\\/script"))
    return page
