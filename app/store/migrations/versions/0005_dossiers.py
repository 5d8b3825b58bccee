"""Dossiers with every version of what was written, hashes of their owner keys, and an address for readers."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.create_table(
        "dossier",
        sa.Column("dossier_id", sa.String(64), primary_key=True),
        sa.Column("own_address", sa.String(64), nullable=False, unique=True),
        sa.Column("reader_address", sa.String(64), unique=True),
        sa.Column("created_utc", sa.String(32), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
    )
    op.create_table(
        "dossier_version",
        sa.Column("dossier_id", sa.String(64), sa.ForeignKey("dossier.dossier_id", ondelete="CASCADE"), primary_key=True),
        sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("created_utc", sa.String(32), nullable=False),
        sa.Column("document_json", sa.Text, nullable=False),
    )
    op.create_table(
        "dossier_key",
        sa.Column("dossier_id", sa.String(64), sa.ForeignKey("dossier.dossier_id", ondelete="CASCADE"), primary_key=True),
        sa.Column("key_sha256", sa.String(64), primary_key=True),
        sa.Column("created_utc", sa.String(32), nullable=False),
    )
