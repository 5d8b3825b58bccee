"""What Alembic runs for every command: on the connection it is handed, inside the transaction that is open there."""

from alembic import context

from app.store.schema import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
context.run_migrations()
