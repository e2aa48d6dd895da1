"""Alembic migrations, run when a book is opened."""
