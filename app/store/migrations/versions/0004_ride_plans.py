"""Ride plans that were kept: still open to their owner, or frozen with date and fingerprint."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.create_table(
        "ride_plan",
        sa.Column("token", sa.String(64), primary_key=True),
        sa.Column("key_sha256", sa.String(64), nullable=False),
        sa.Column("design_json", sa.Text, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("created_utc", sa.String(32), nullable=False),
        sa.Column("frozen_utc", sa.String(32)),
        sa.Column("fingerprint", sa.String(64)),
    )
