"""Trials, recordings, set-ups, owner keys: what there was before migrations were counted, and may be there already."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def _trial_id() -> sa.Column:
    return sa.Column("trial_id", sa.String(64), sa.ForeignKey("trial.trial_id", ondelete="CASCADE"), primary_key=True)


def _created() -> sa.Column:
    return sa.Column("created_utc", sa.String(32), nullable=False)


def upgrade() -> None:
    tables = {
        "schema_version": [
            sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
            sa.Column("version", sa.Integer, nullable=False),
        ],
        "trial": [
            sa.Column("trial_id", sa.String(64), primary_key=True),
            _created(),
            sa.Column("setup_version", sa.Integer, nullable=False),
        ],
        "trial_recording": [
            _trial_id(),
            sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
            sa.Column("sha256", sa.String(64), nullable=False),
            sa.Column("name", sa.String(200), nullable=False),
        ],
        "trial_setup": [
            _trial_id(),
            sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
            _created(),
            sa.Column("setup_json", sa.Text, nullable=False),
        ],
        "trial_blocks_first": [_trial_id(), _created()],
        "owner_key": [_trial_id(), sa.Column("key_sha256", sa.String(64), primary_key=True), _created()],
    }
    for name, columns in tables.items():
        op.create_table(name, *columns, if_not_exists=True)
    op.create_index("ix_trial_recording_sha256", "trial_recording", ["sha256"], if_not_exists=True)
