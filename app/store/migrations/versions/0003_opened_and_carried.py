"""When a trial was last opened, for those that nobody needs any more; when it was brought from another server."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    for name in ("opened_utc", "carried_utc"):
        op.add_column("trial", sa.Column(name, sa.String(32)))
