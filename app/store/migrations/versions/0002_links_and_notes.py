"""Reader links, owner keys that end, notes. A trial's old id stays its first reader link, so addresses go on working."""

import secrets

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

ADDRESS_BYTES = 24


def _trial_id() -> sa.Column:
    return sa.Column("trial_id", sa.String(64), sa.ForeignKey("trial.trial_id", ondelete="CASCADE"), nullable=False)


def _text(name: str, size: int = 32, *, nullable: bool = True) -> sa.Column:
    return sa.Column(name, sa.String(size), nullable=nullable)


def _label() -> sa.Column:
    return sa.Column("label", sa.String(80), nullable=False, server_default="")


def upgrade() -> None:
    for column in (_label(), _text("expires_utc"), _text("revoked_utc")):
        op.add_column("owner_key", column)
    op.add_column("trial", _text("private_address", 64))
    op.add_column("trial", sa.Column("links_version", sa.Integer, nullable=False, server_default="1"))
    op.create_index("ix_trial_private_address", "trial", ["private_address"], unique=True)
    op.create_table(
        "reader_link",
        sa.Column("token", sa.String(64), primary_key=True),
        _trial_id(), _label(), _text("created_utc", nullable=False), _text("expires_utc"), _text("revoked_utc"),
    )  # fmt: skip
    op.create_index("ix_reader_link_trial_id", "reader_link", ["trial_id"])
    op.create_table(
        "note",
        sa.Column("note_id", sa.String(64), primary_key=True),
        _trial_id(), sa.Column("from_s", sa.Float), sa.Column("to_s", sa.Float), sa.Column("text", sa.Text, nullable=False),
        _text("created_utc", nullable=False), _text("changed_utc", nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
    )  # fmt: skip
    op.create_index("ix_note_trial_id", "note", ["trial_id"])
    _give_addresses()


def _give_addresses() -> None:
    connection = op.get_bind()
    link = sa.text("INSERT INTO reader_link (token, trial_id, created_utc) VALUES (:id, :id, :created)")
    private = sa.text("UPDATE trial SET private_address = :address WHERE trial_id = :id")
    for trial_id, created in connection.execute(sa.text("SELECT trial_id, created_utc FROM trial")).all():
        connection.execute(link, {"id": trial_id, "created": created})
        connection.execute(private, {"id": trial_id, "address": secrets.token_urlsafe(ADDRESS_BYTES)})
