"""A damaged SQLite file: said in a sentence, pinned to an event, never wrong numbers unnoticed.

Damage is real: bytes of the file are overwritten, page by page. Where each table and index lies is
asked of SQLite (`dbstat` is not compiled in everywhere, so the pages are found by walking the
b-trees as the file format describes them: sqlite.org, "Database File Format", section 1.6).
"""

from __future__ import annotations

import shutil
import sqlite3
import struct
from contextlib import closing

import pytest
from tests.book.book_makers import NOW, intake, split

from wareleaf import store
from wareleaf.measure import BadInput
from wareleaf.store import last_seen

EVENTS = 400
LOTS = EVENTS // 2


def written(path):
    events = []
    for n in range(LOTS):
        events.append(intake(f"i{n}", f"K{n}", 1000, 100, minute=n))
        events.append(split(f"s{n}", f"K{n}", {f"K{n}a": (400, 40), f"K{n}b": (600, 60)}, n + 0.5))
    with store.open_book(path) as opened:
        opened.append_many(events, now=NOW)
        opened.set_person("ada", "Ada Skerry", "manager")


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """A sound book in one file, with its backup of a bit earlier beside it."""
    folder = tmp_path_factory.mktemp("sound")
    written(folder / "book.db")
    store.backup(folder / "book.db", folder / "backup.db")
    with store.open_book(folder / "book.db") as opened:
        more = [intake(f"late{n}", f"L{n}", 700, 70, minute=EVENTS + n) for n in range(40)]
        opened.append_many(more, now=NOW)
        with opened.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    return folder


@pytest.fixture
def path(sound, tmp_path):
    for name in ("book.db", "book.db-head", "backup.db"):
        shutil.copyfile(sound / name, tmp_path / name)
    return tmp_path / "book.db"


def root_of(path, name):
    with closing(sqlite3.connect(path)) as connection:
        query = "SELECT rootpage FROM sqlite_master WHERE name = ?"
        return connection.execute(query, (name,)).fetchone()[0]


def pages_of(path, name):
    """Page numbers of a b-tree: (interior, leaves)."""
    data, size = path.read_bytes(), 4096
    interior, leaves, todo = [], [], [root_of(path, name)]
    while todo:
        number = todo.pop()
        page = data[(number - 1) * size : number * size]
        if page[0] in (10, 13):  # leaf of an index, of a table
            leaves.append(number)
            continue
        assert page[0] in (2, 5), page[0]
        interior.append(number)
        count = struct.unpack(">H", page[3:5])[0]
        cells = struct.unpack(f">{count}H", page[12 : 12 + 2 * count])
        todo += [struct.unpack(">I", page[c : c + 4])[0] for c in cells]
        todo.append(struct.unpack(">I", page[8:12])[0])
    return interior, sorted(leaves)


def spoil(path, number, what=b"\xa5" * 4096, at=0):
    with path.open("r+b") as file:
        file.seek((number - 1) * 4096 + at)
        file.write(what)


def verdict(path):
    """What opening and verifying says; an exception of any other kind fails the test."""
    try:
        with store.open_book(path, create=False) as opened:
            return opened.verify()
    except BadInput as error:
        return error


def assert_told(found):
    words = found.message if isinstance(found, store.VerifyReport) else str(found)
    assert not getattr(found, "ok", False), "damage went unnoticed"
    assert "wareleaf salvage" in words or "was changed after it was recorded" in words, words
    return words


def test_a_leaf_page_of_the_event_table(path):
    interior, leaves = pages_of(path, "event")
    assert interior and len(leaves) > 20
    spoil(path, leaves[len(leaves) // 2])
    found = verdict(path)
    words = assert_told(found)
    assert f"Event {found.first_bad_sequence} cannot be read" in words
    assert 1 < found.first_bad_sequence < EVENTS
    assert found.events == found.first_bad_sequence - 1


def test_an_inner_page_of_the_event_table(path):
    spoil(path, pages_of(path, "event")[0][0])
    assert "cannot be opened: its file is damaged" in assert_told(verdict(path))
    last_seen.beside(path).unlink()  # nothing is read at opening then
    assert "Event 1 cannot be read" in assert_told(verdict(path))


@pytest.mark.parametrize("name", ["event_by_kind", "lot_by_form", "edge_down", "event_by_record"])
def test_an_index_page(path, name):
    spoil(path, pages_of(path, name)[1][-1])
    found = verdict(path)
    assert "damaged" in assert_told(found)
    if isinstance(found, store.VerifyReport):
        assert found.first_bad_sequence is None, "the events are all there"


def test_an_index_that_lost_a_row_is_compared_with_its_table(path):
    """A sound page that says less than the table: no read would raise, the answer is just short."""
    leaf = pages_of(path, "event_by_kind")[1][0]
    count = struct.unpack(">H", path.read_bytes()[(leaf - 1) * 4096 + 3 : (leaf - 1) * 4096 + 5])[0]
    spoil(path, leaf, struct.pack(">H", count - 1), at=3)
    with store.open_book(path, create=False) as opened:
        words = assert_told(opened.verify())
    assert "event_by_kind" in words


@pytest.mark.parametrize("table", ["lot", "edge", "touch", "run", "setting"])
def test_a_page_of_a_derived_table(path, table):
    spoil(path, pages_of(path, table)[1][-1])
    words = assert_told(verdict(path))
    assert "damaged" in words


def test_a_number_changed_inside_a_lot_is_found_by_the_fold(path):
    """The page stays well formed; only a fresh fold of the events can tell."""
    data = path.read_bytes()
    for leaf in pages_of(path, "lot")[1]:
        page = data[(leaf - 1) * 4096 : leaf * 4096]
        place = page.find(b"K7a")
        if place >= 0:
            spoil(path, leaf, b"sugar_kelp_RAW", at=page.index(b"sugar_kelp_raw", place))
            break
    with store.open_book(path, create=False) as opened:
        report = opened.verify()
    assert not report.ok
    assert "The table of lots does not say what the events say: see K7a" in report.message


def test_one_letter_of_an_event_is_pinned_to_the_event(path):
    data = path.read_bytes()
    place = data.index(b'"event_id":"s33"')
    with path.open("r+b") as file:
        file.seek(place)
        file.write(b'"event_id":"s34"')
    report = verdict(path)
    assert report.first_bad_sequence == 68
    assert "Event 68 (s33) was changed after it was recorded." in report.message


@pytest.mark.parametrize("kept", [0, 1, 50, 100, 4096, 0.5, 0.99])
def test_a_truncated_file(path, kept):
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.truncate(int(size * kept) if isinstance(kept, float) else kept)
    found = verdict(path)
    words = found.message if isinstance(found, store.VerifyReport) else str(found)
    assert not getattr(found, "ok", False)
    assert "damaged" in words or "is gone or empty" in words, words


def test_an_empty_file_is_not_taken_for_a_new_book(path):
    path.write_bytes(b"")
    with pytest.raises(BadInput, match="wareleaf salvage"):
        store.open_book(path)
    assert path.stat().st_size == 0


def test_a_short_file_is_not_written_over(tmp_path):
    (tmp_path / "notes.txt").write_text("kelp")
    with pytest.raises(BadInput, match="4 bytes, too few for a book"):
        store.open_book(tmp_path / "notes.txt")
    assert (tmp_path / "notes.txt").read_text() == "kelp"


def test_a_file_that_is_gone_is_not_begun_anew(path):
    path.unlink()
    with pytest.raises(
        BadInput, match="is gone or empty, but a book of 440 events was written there"
    ):
        store.open_book(path)
    assert not path.exists()


def grown_with_a_log(path):
    """A book with its last ten events only in the log, as a killed process leaves it."""
    with store.open_book(path) as opened, opened.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_autocheckpoint=0").fetchall()
        for n in range(10):
            opened.append(intake(f"w{n}", f"W{n}", 700, 70, minute=600 + n), now=NOW)
        copy = path.with_name("killed.db")
        for suffix in ("", "-wal", "-head"):
            shutil.copyfile(f"{path}{suffix}", f"{copy}{suffix}")
    return copy


def test_the_log_of_a_killed_process_is_taken_over(path):
    copy = grown_with_a_log(path)
    with store.open_book(copy, create=False) as opened:
        assert opened.verify().events == EVENTS + 50


@pytest.mark.parametrize("at", [0, 40, 0.5, 0.9])
def test_garbage_in_the_log_does_not_lose_events_unsaid(path, at):
    """SQLite stops at the first bad frame without a word; the note beside the book knows more."""
    copy = grown_with_a_log(path)
    log = copy.with_name(copy.name + "-wal")
    data = bytearray(log.read_bytes())
    place = int(len(data) * at) if isinstance(at, float) else at
    data[place : place + 64] = b"\x5a" * 64
    log.write_bytes(data)
    words = str(verdict(copy))
    assert "ends at event" in words and "event 450 was acknowledged" in words, words
    with store.open_book(path, create=False) as opened:
        assert opened.verify().ok, "the book with its own log is whole"


def test_a_log_that_was_deleted(path):
    copy = grown_with_a_log(path)
    copy.with_name(copy.name + "-wal").unlink()
    assert "the last 10 are lost, or this is an older copy" in str(verdict(copy))


def test_another_book_under_the_same_name(path, tmp_path):
    written(tmp_path / "other.db")
    shutil.copyfile(tmp_path / "other.db", path)
    assert "440 was acknowledged" in str(verdict(path))
    last_seen.beside(path).unlink()
    assert verdict(path).ok, "put there on purpose"


@pytest.mark.slow
def test_no_damaged_page_goes_unnoticed_or_raises(path):
    """Every page in turn: either the book says so, or all it holds is as it was."""
    pristine = path.read_bytes()
    with store.open_book(path, create=False) as opened:
        right = (opened.lots(), opened.events())
    pages = len(pristine) // 4096
    told = 0
    for number in range(1, pages + 1, max(1, pages // 40)):
        path.write_bytes(pristine)
        spoil(path, number, b"\xff\x00" * 32, at=8 if number > 1 else 100)
        try:
            with store.open_book(path, create=False) as opened:
                if opened.verify().ok:
                    assert (opened.lots(), opened.events()) == right
                    continue
        except (BadInput, store.BookUnavailable):
            pass
        told += 1
    assert told > 20


def test_salvage_takes_the_backup_and_what_came_after_it(path, tmp_path):
    """A page in the backed-up part is gone; the 40 events after the backup are saved too."""
    leaves = pages_of(path, "event")[1]
    spoil(path, leaves[10])
    spoil(path, pages_of(path, "lot")[1][0])
    saved = store.salvage(path, tmp_path / "new.db", tmp_path / "backup.db")
    assert saved.first_lost is None
    assert saved.report.events == EVENTS + 40
    assert saved.from_backup > 0
    assert saved.from_damaged + saved.from_backup == EVENTS + 40
    with store.open_book(tmp_path / "new.db", create=False) as new:
        assert new.verify().ok
        assert new.lot("L39").mass_g == 700
        assert [p.name for p in new.people()] == ["Ada Skerry"]
        new.append(intake("next", "NEXT", minute=900), now=NOW)


def test_salvage_without_a_backup_stops_at_the_gap_and_says_what_lies_beyond(path, tmp_path):
    leaves = pages_of(path, "event")[1]
    spoil(path, leaves[-3])
    saved = store.salvage(path, tmp_path / "new.db")
    assert saved.first_lost == saved.report.events + 1
    assert saved.last_known == EVENTS + 40
    assert saved.report.ok
    assert [n for n, _ in saved.beyond] == sorted(n for n, _ in saved.beyond)
    assert saved.beyond[-1][0] == EVENTS + 40
    lost = EVENTS + 40 - saved.report.events - len(saved.beyond)
    assert 0 < lost < 10, "one page holds a few events"


@pytest.mark.parametrize("damage", ["header", "cut", "empty"])
def test_salvage_when_the_book_is_hopeless(path, tmp_path, damage):
    if damage == "header":
        spoil(path, 1)
    else:
        with path.open("r+b") as file:
            file.truncate(60 if damage == "cut" else 0)
    before = path.read_bytes()
    with pytest.raises(BadInput, match=r"Not one event .* give the last backup with --backup"):
        store.salvage(path, tmp_path / "new.db")
    assert not list(tmp_path.glob("new*"))
    saved = store.salvage(path, tmp_path / "new.db", tmp_path / "backup.db")
    assert (saved.from_damaged, saved.from_backup) == (0, EVENTS)
    assert (saved.first_lost, saved.last_known) == (EVENTS + 1, EVENTS + 40), "by the note beside"
    assert path.read_bytes() == before, "only read"


def test_salvage_with_corrections_gives_the_same_tables(tmp_path):
    from tests.book.book_makers import correction
    from tests.store.test_store_book import DAY

    with store.open_book(tmp_path / "book.db") as opened:
        opened.append_many(DAY, now=NOW)
        opened.append(correction("c1", "e8", minute=501, void=True), now=NOW)
        saved = store.salvage(tmp_path / "book.db", tmp_path / "new.db")
        assert saved.report.ok
        with store.open_book(tmp_path / "new.db") as new:
            assert (new.lots(), new.events(), new.tree_root()) == (
                opened.lots(),
                opened.events(),
                opened.tree_root(),
            )


def test_salvage_keeps_a_corrected_start_in_the_history_of_its_new_lots(tmp_path):
    from tests.book.book_makers import correction, start

    facts = {**start("r", "R1", ["L"]).facts, "kind": "stage_started"}
    with store.open_book(tmp_path / "book.db") as opened:
        lots = [intake("i", "K", 1000, 100), intake("j", "L", 1000, 100)]
        opened.append_many([*lots, start("r", "R1", ["K"])], now=NOW)
        opened.append(correction("c", "r", happened=20, facts=facts), now=NOW)
        store.salvage(tmp_path / "book.db", tmp_path / "new.db")
        with store.open_book(tmp_path / "new.db") as new:
            for lot, ids in (("K", ["i", "r"]), ("L", ["j", "c"])):
                for held in (opened, new):
                    assert [e.event.event_id for e in held.events(lot_id=lot)] == ids


def test_a_log_left_by_another_book_is_not_taken_over_by_a_restored_one(path, tmp_path):
    target = tmp_path / "back.db"
    target.with_name("back.db-wal").write_bytes(b"left over")
    with pytest.raises(BadInput, match=r"back.db-wal was left by another book"):
        store.restore(tmp_path / "backup.db", target)
    target.with_name("back.db-wal").unlink()
    last_seen.beside(target).write_bytes(last_seen.beside(path).read_bytes())
    store.restore(tmp_path / "backup.db", target)
    assert verdict(target).ok, "a restored book is begun with no note of the old one"
