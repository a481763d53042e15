"""Where alembic starts: always on the connection that the service hands in, so that there is one way to migrate."""

from alembic import context

from geartender.store.tables import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
