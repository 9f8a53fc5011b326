"""What Alembic runs: the migrations, on the connection and inside the transaction that `upgrade` was given."""

from __future__ import annotations

from alembic import context

from fieldctl.ledger.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    transactional_ddl=False,  # the transaction is the caller's
)
context.run_migrations()
