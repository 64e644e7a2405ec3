"""Runs the revisions on the connection that the store holds, inside its transaction."""

from __future__ import annotations

from alembic import context

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=context.config.attributes["tables"], render_as_batch=True)
context.run_migrations()
