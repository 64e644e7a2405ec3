"""The store, in a SQLite file or a PostgreSQL database."""

from gainwright.adapters.store.check import StoreCheck
from gainwright.adapters.store.maintenance import StoreMaintenance
from gainwright.adapters.store.sql_store import SqlStore, open_store

__all__ = ["SqlStore", "StoreCheck", "StoreMaintenance", "open_store"]
