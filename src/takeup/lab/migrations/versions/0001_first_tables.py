"""The first tables. Frozen with the first release: from then on a change of a table is a migration of its own."""

from alembic import op

from takeup.lab.schema import METADATA

revision = "0001"
down_revision = None


def upgrade() -> None:
    METADATA.create_all(op.get_bind())
