"""The durable tables as this program knows them. Every change here goes with a migration in `migrations/versions/`."""

from __future__ import annotations

from sqlalchemy import Column, Float, ForeignKey, Index, Integer, MetaData, String, Table, Text

# Equals the number of the last migration; an older program refuses a newer database instead of damaging it.
SCHEMA_VERSION = 6

metadata = MetaData()


def _trial_id(**more: bool) -> Column:
    """A trial's name inside the database; it stands in no address. What hangs on a trial goes when the trial goes."""
    return Column("trial_id", ForeignKey("trial.trial_id", ondelete="CASCADE"), nullable=False, **more)


def _dossier_id(**more: bool) -> Column:
    return Column("dossier_id", ForeignKey("dossier.dossier_id", ondelete="CASCADE"), nullable=False, **more)


def _given_out() -> tuple[Column, ...]:
    """Of every reader link and owner key: its name on the page, and from when to when it opens."""
    return (
        Column("label", String(80), nullable=False, server_default=""),
        Column("created_utc", String(32), nullable=False),
        Column("expires_utc", String(32)),
        Column("revoked_utc", String(32)),
    )


schema_row = Table(
    "schema_version",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("version", Integer, nullable=False),
)
trials = Table(
    "trial",
    metadata,
    Column("trial_id", String(64), primary_key=True),
    Column("created_utc", String(32), nullable=False),
    Column("setup_version", Integer, nullable=False),
    Column("private_address", String(64)),  # opens for owners only, when every reader link is revoked
    Column("links_version", Integer, nullable=False, server_default="1"),
    Column("opened_utc", String(32)),  # by anybody, to the day; None before the first time
    Column("carried_utc", String(32)),  # when it was brought here from another server; None where it was made here
    Index("ix_trial_private_address", "private_address", unique=True),
)
recordings = Table(
    "trial_recording",
    metadata,
    _trial_id(primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("sha256", String(64), nullable=False, index=True),  # of what is kept, not of the file that was uploaded
    Column("name", String(200), nullable=False),
)
setups = Table(
    "trial_setup",
    metadata,
    _trial_id(primary_key=True),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("created_utc", String(32), nullable=False),
    Column("setup_json", Text, nullable=False),
)
# A trial is listed here when its deltas stay hidden until its blocks are frozen.
blocks_first = Table(
    "trial_blocks_first",
    metadata,
    _trial_id(primary_key=True),
    Column("created_utc", String(32), nullable=False),
)
owner_keys = Table(
    "owner_key",
    metadata,
    _trial_id(primary_key=True),
    Column("key_sha256", String(64), primary_key=True),
    *_given_out(),
)
reader_links = Table(
    "reader_link",
    metadata,
    Column("token", String(64), primary_key=True),
    _trial_id(index=True),
    *_given_out(),
)
# What readers and owners write beside a trial; without times it is about the whole of it.
notes = Table(
    "note",
    metadata,
    Column("note_id", String(64), primary_key=True),
    _trial_id(index=True),
    Column("from_s", Float),
    Column("to_s", Float),
    Column("text", Text, nullable=False),
    Column("created_utc", String(32), nullable=False),
    Column("changed_utc", String(32), nullable=False),
    Column("version", Integer, nullable=False),
)
# A ride before it is ridden; frozen for good once `frozen_utc` and `fingerprint` are there.
ride_plans = Table(
    "ride_plan",
    metadata,
    Column("token", String(64), primary_key=True),
    Column("key_sha256", String(64), nullable=False),
    Column("design_json", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("created_utc", String(32), nullable=False),
    Column("frozen_utc", String(32)),
    Column("fingerprint", String(64)),
)
dossiers = Table(
    "dossier",
    metadata,
    Column("dossier_id", String(64), primary_key=True),
    Column("private_address", String(64), nullable=False),  # opens for owners only
    Column("created_utc", String(32), nullable=False),
    Column("version", Integer, nullable=False),
    Column("links_version", Integer, nullable=False, server_default="1"),
    Column("opened_utc", String(32)),  # by anybody, to the day; None before the first time
    Index("ix_dossier_private_address", "private_address", unique=True),
)
dossier_versions = Table(
    "dossier_version",
    metadata,
    _dossier_id(primary_key=True),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("created_utc", String(32), nullable=False),
    Column("document_json", Text, nullable=False),
)
dossier_keys = Table(
    "dossier_key",
    metadata,
    _dossier_id(primary_key=True),
    Column("key_sha256", String(64), primary_key=True),
    *_given_out(),
)
dossier_links = Table(
    "dossier_link",
    metadata,
    Column("token", String(64), primary_key=True),
    _dossier_id(index=True),
    *_given_out(),
)
