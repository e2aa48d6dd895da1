"""Migrations bring any older book to the tables that the code expects."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from tests.book.book_makers import NOW
from tests.book.test_exchange_documents import history

from wareleaf import store
from wareleaf.measure import BadInput
from wareleaf.store import engine, schema


def test_the_newest_migration_is_the_one_the_code_expects():
    config = Config()
    folder = Path(engine.__file__).parent / "migrations"
    config.set_main_option("script_location", str(folder))
    assert ScriptDirectory.from_config(config).get_current_head() == engine.HEAD


def test_the_migrations_make_the_tables_of_the_schema(kept):
    with kept.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, schema.metadata) == []


def test_opening_again_changes_nothing(where):
    store.open_book(where).close()
    with store.open_book(where, create=False) as again:
        assert again.verify().ok


def test_a_newer_book_is_left_alone(where):
    with store.open_book(where) as opened, opened.engine.begin() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(BadInput, match="newer than this program's"):
        store.open_book(where)


def test_an_older_book_learns_what_its_customers_have(where):
    """A shipment that was corrected counts as it stands now."""
    with store.open_book(where) as opened:
        opened.append_many(history(), now=NOW)
        before = opened.lots()
        with opened.engine.begin() as connection:
            for name in ("away", "pallets"):
                connection.execute(sa.text(f"ALTER TABLE lot DROP COLUMN {name}"))
            connection.execute(sa.text("UPDATE alembic_version SET version_num = '0002'"))
    with store.open_book(where, create=False) as again:
        assert again.lots() == before
        assert again.verify().ok
        away = {lot.lot_id: lot.away for lot in again.lots() if lot.away}
        assert away == {"P 1/a": {"Larkspur Foods": (60_000, 52_800)}}


def test_sqlite_is_set_for_durability(tmp_path):
    with store.open_book(tmp_path / "b.db") as opened, opened.engine.connect() as connection:

        def ask(name):
            return connection.exec_driver_sql(f"PRAGMA {name}").scalar()

        assert (ask("journal_mode"), ask("synchronous"), ask("foreign_keys")) == ("wal", 2, 1)
