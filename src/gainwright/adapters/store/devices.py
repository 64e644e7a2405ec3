"""Paired devices."""

from __future__ import annotations

import secrets
from dataclasses import asdict, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import sqlalchemy as sa

from gainwright.adapters.store.digests import is_whole, sealed
from gainwright.adapters.store.tables import device as device_table
from gainwright.adapters.store.tables import now, writable
from gainwright.app.store import PairedDevice
from gainwright.errors import CallError
from gainwright.texts import say

if TYPE_CHECKING:
    from gainwright.adapters.store.database import Database
    from gainwright.adapters.store.tables import AnyRow

NOTED_EVERY = timedelta(minutes=1)
"""Resolution of the time at which a device was last seen, so that not every request causes a write."""


_NEVER = datetime.fromtimestamp(0, UTC)


class SqlDevices:
    """Paired devices in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def list(self) -> list[PairedDevice]:
        """Return all devices that were ever paired, last seen first."""
        table = device_table.c
        with self._database.read() as connection:
            rows = connection.execute(sa.select(device_table).order_by(table.seen.desc(), table.id)).all()
        return [device_of(row) for row in rows]

    def add(self, *, name: str, token_digest: str) -> PairedDevice:
        """Add a device. CallError `token_taken`."""
        writable(name=name, token_digest=token_digest)
        at = now()
        kept = PairedDevice(secrets.token_hex(8), name, token_digest, at, at, put_out=False)
        row = sealed(device_table, asdict(kept))
        with self._database.write() as connection:
            try:
                connection.execute(device_table.insert().values(**row))
            except sa.exc.IntegrityError:
                raise CallError(
                    say("another device has this token"), code="token_taken", remedy=say("pair it anew")
                ) from None
        return kept

    def by_token(self, token_digest: str) -> PairedDevice | None:
        """Return the device of a token, None if its access was revoked; record that it was seen."""
        writable(token_digest=token_digest)
        its = device_table.c.token_digest == token_digest
        with self._database.read() as connection:
            row = connection.execute(sa.select(device_table).where(its)).one_or_none()
        if row is None or row.put_out or not is_whole(device_table, row):
            return None
        if abs(now() - row.seen) < NOTED_EVERY:  # later than now it was by a clock that was ahead
            return device_of(row)
        with self._database.write() as connection:
            row = connection.execute(sa.select(device_table).where(its).with_for_update()).one_or_none()
            if row is None or row.put_out:  # revoked meanwhile
                return None
            seen = replace(device_of(row), seen=now())
            connection.execute(device_table.update().where(its).values(**sealed(device_table, asdict(seen))))
        return seen

    def revoke(self, device: str) -> None:
        """Revoke a device's access. CallError `no_such_device`."""
        writable(device=device)
        with self._database.write() as connection:
            its = device_table.c.id == device
            row = connection.execute(sa.select(device_table).where(its).with_for_update()).one_or_none()
            if row is None:
                raise CallError(
                    say("there is no such device"), code="no_such_device", remedy=say("see the list of devices")
                )
            put_out = replace(device_of(row), put_out=True)
            connection.execute(device_table.update().where(its).values(**sealed(device_table, asdict(put_out))))


def device_of(row: AnyRow) -> PairedDevice:
    """Return the device of a row; one that isn't as it was stored has no access, and is called damaged."""
    if is_whole(device_table, row):
        return PairedDevice(row.id, row.name, row.token_digest, row.paired, row.seen, put_out=row.put_out)
    name = say("damaged: {job}", job=str(row.name))
    return PairedDevice(str(row.id), name, str(row.token_digest), _NEVER, _NEVER, put_out=True)
