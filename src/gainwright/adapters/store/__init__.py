"""The store: what the workshop keeps, in SQLite by a file or in PostgreSQL by an address."""

from gainwright.adapters.store.checking import StoreCheck
from gainwright.adapters.store.keeping import StoreKeeper
from gainwright.adapters.store.opening import SqlStore, open_store
from gainwright.adapters.store.place import store_place

__all__ = ["SqlStore", "StoreCheck", "StoreKeeper", "open_store", "store_place"]
