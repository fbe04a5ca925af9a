"""SQLite behind one writer: the store of the embedded mode."""

from spinfloor.adapters.sqlite.store import DATABASE_NAME, open_store

__all__ = ["DATABASE_NAME", "open_store"]
