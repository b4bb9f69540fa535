"""Runs migrations on the connection that `app.schema.migrate` hands over."""

from alembic import context

from app.schema import metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata(),
    transactional_ddl=True,
    render_as_batch=connection.dialect.name == "sqlite",
)
context.run_migrations()
