"""Events of several lots at once: the same as asking one by one, each event once, in order."""

from tests.book.book_makers import NOW, correction, event, intake, made, split

from wareleaf.store import open_book

FIRST = 700  # more than one question holds


def test_several_lots_are_asked_at_once(tmp_path):
    history = [intake(f"e{n}", f"L{n}", minute=n) for n in range(FIRST)]
    draws = [(f"L{n}", 1000, 100) for n in range(FIRST)]
    history.append(event("mix", "blend", 710, inputs=draws, outputs=[made("M", 700_000, 70_000)]))
    history.append(split("cut", "M", {"P": (500, 50), "Q": (600, 60)}, 720))
    history.append(
        correction("late", "e3", minute=900, happened=650, outputs=[made("L3", 9**6, 9**5)])
    )
    with open_book(tmp_path / "book.db") as book:
        book.append_many(history, now=NOW)
        ids = [f"L{n}" for n in range(FIRST)] * 2 + ["M", "nobody"]
        found = book.events_in_force(lot_id=ids)
        assert found == book.events_in_force()
        order = [e.event_id for e in found]
        assert order[order.index("e3") - 1] == "e650"  # where its correction says it happened
        one_by_one = {e.event_id for k in ("L1", "P") for e in book.events_in_force(lot_id=k)}
        assert {e.event_id for e in book.events_in_force(lot_id=["L1", "P"])} == one_by_one
        assert book.events_in_force(lot_id=[]) == []
        assert [e.event_id for e in book.events_in_force("blend", lot_id=iter(ids))] == ["mix"]
