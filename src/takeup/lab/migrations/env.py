"""Brings a lab's database from any earlier takeup to today's tables."""

from alembic import context

from takeup.lab.schema import METADATA

context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA, render_as_batch=True)
context.run_migrations()
