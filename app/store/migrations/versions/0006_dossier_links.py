"""Dossiers have the links that trials have, and a day on which they were last opened.

The address that readers had stays their first reader link, the owner's stays the private address, keys go on opening.
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def _text(name: str, size: int = 32, *, nullable: bool = True) -> sa.Column:
    return sa.Column(name, sa.String(size), nullable=nullable)


def _dossier_id(**more: bool) -> sa.Column:
    return sa.Column("dossier_id", sa.String(64), sa.ForeignKey("dossier.dossier_id", ondelete="CASCADE"), nullable=False, **more)


def _given_out() -> list[sa.Column]:
    label = sa.Column("label", sa.String(80), nullable=False, server_default="")
    return [label, _text("created_utc", nullable=False), _text("expires_utc"), _text("revoked_utc")]


def upgrade() -> None:
    """Made anew, because SQLite cannot drop a column that is unique; the tables that hang on the first go before it does."""
    connection = op.get_bind()
    names = ("dossier", "dossier_version", "dossier_key")
    rows = {name: connection.execute(sa.text(f"SELECT * FROM {name}")).mappings().all() for name in names}
    for name in reversed(names):
        op.drop_table(name)
    dossiers = op.create_table(
        "dossier",
        sa.Column("dossier_id", sa.String(64), primary_key=True),
        _text("private_address", 64, nullable=False), _text("created_utc", nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("links_version", sa.Integer, nullable=False, server_default="1"), _text("opened_utc"),
    )  # fmt: skip
    op.create_index("ix_dossier_private_address", "dossier", ["private_address"], unique=True)
    versions = op.create_table(
        "dossier_version",
        _dossier_id(primary_key=True), sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
        _text("created_utc", nullable=False), sa.Column("document_json", sa.Text, nullable=False),
    )  # fmt: skip
    keys = op.create_table(
        "dossier_key", _dossier_id(primary_key=True), sa.Column("key_sha256", sa.String(64), primary_key=True), *_given_out()
    )
    links = op.create_table("dossier_link", sa.Column("token", sa.String(64), primary_key=True), _dossier_id(), *_given_out())
    op.create_index("ix_dossier_link_dossier_id", "dossier_link", ["dossier_id"])
    about = ("dossier_id", "created_utc")
    own = [{k: d[k] for k in (*about, "version")} | {"private_address": d["own_address"]} for d in rows["dossier"]]
    published = [{k: d[k] for k in about} | {"token": d["reader_address"]} for d in rows["dossier"] if d["reader_address"]]
    op.bulk_insert(dossiers, own)
    op.bulk_insert(versions, [dict(row) for row in rows["dossier_version"]])
    op.bulk_insert(keys, [dict(row) for row in rows["dossier_key"]])
    op.bulk_insert(links, published)
