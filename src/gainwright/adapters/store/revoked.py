"""Devices whose access was revoked: no restore lets them in again."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store.devices import device_of
from gainwright.adapters.store.digests import sealed
from gainwright.adapters.store.reading import only_reading
from gainwright.adapters.store.tables import device as device_table
from gainwright.app.store import PairedDevice
from gainwright.errors import CallError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from gainwright.adapters.store.database import Database

_OF_ANY_REVISION = [column for column in device_table.c if column.name != "digest"]


def revoked_in(connection: sa.Connection) -> list[PairedDevice]:
    """Return the devices of a store whose access was revoked."""
    return [device for device in map(device_of, connection.execute(sa.select(device_table))) if device.put_out]


def revoked_in_file(file: Path) -> list[PairedDevice] | None:
    """Return those of a file that was moved aside; None when it was a store and can't be read any longer."""
    try:
        return only_reading(file, _revoked)
    except CallError as error:
        return [] if error.code == "no_store" else None


def _revoked(database: Database) -> list[PairedDevice]:
    with database.snapshot() as connection:
        if not sa.inspect(connection).has_table(device_table.name):
            return []
        rows = connection.execute(sa.select(*_OF_ANY_REVISION).where(device_table.c.put_out)).all()
    return [PairedDevice(**row._mapping) for row in rows]


def revoke_again(connection: sa.Connection, revoked: Sequence[PairedDevice] | None) -> None:
    """Revoke the access of devices after a restore, those that the backup doesn't know included; None revokes every device's."""
    if revoked is None:
        revoked = [device_of(row) for row in connection.execute(sa.select(device_table))]
    for device in revoked:
        its = (device_table.c.id == device.id) | (device_table.c.token_digest == device.token_digest)
        there = connection.execute(sa.select(device_table).where(its)).all()
        for row in there:
            again = sealed(device_table, asdict(replace(device_of(row), put_out=True)))
            connection.execute(device_table.update().where(device_table.c.id == row.id).values(**again))
        if not there:
            added = sealed(device_table, asdict(replace(device, put_out=True)))
            connection.execute(device_table.insert().values(**added))
