"""The store: what is kept, in SQLite by a file or in PostgreSQL by an address."""

from gainwright.adapters.store.check import StoreCheck
from gainwright.adapters.store.maintenance import StoreMaintenance
from gainwright.adapters.store.sql_store import SqlStore, open_store

__all__ = ["SqlStore", "StoreCheck", "StoreMaintenance", "open_store"]
