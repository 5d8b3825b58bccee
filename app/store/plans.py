"""Ride plans that were kept. Whoever holds the owner key may change one until it is frozen; then nobody may.

A plan's address is its token; the key is kept as a hash, told once.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, delete, insert, select, update

from analysis.designing import Design, design_from_dict, fingerprint
from app.store import schema as db
from app.store.addresses import new_address, new_key, now_utc
from app.store.database import Database
from app.store.links import key_hash
from app.store.problems import ChangedMeanwhile, NoSuchPlan, PlanFrozen

CHANGED = "Somebody else changed this plan meanwhile; reload the page and try again."


@dataclass(frozen=True, kw_only=True)
class NewPlan:
    """Told once: the key is not kept in the clear anywhere."""

    token: str
    owner_key: str


@dataclass(frozen=True, kw_only=True)
class StoredPlan:
    """A plan as kept; `frozen_utc` and `fingerprint` are None until it is frozen."""

    token: str
    design: Design
    version: int
    created_utc: str
    frozen_utc: str | None
    fingerprint: str | None


class Plans:
    """The kept ride plans."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def create(self, design: Design) -> NewPlan:
        """Keep a plan, open to its owner."""
        new = NewPlan(token=new_address(), owner_key=new_key())
        row = {"token": new.token, "key_sha256": key_hash(new.owner_key), "design_json": _json(design), "version": 1}
        with self._database.writing() as connection:
            connection.execute(insert(db.ride_plans).values(row | {"created_utc": now_utc()}))
        return new

    def of(self, token: str) -> StoredPlan | None:
        """The plan at this address, or None."""
        with self._database.reading() as connection:
            row = connection.execute(select(db.ride_plans).where(db.ride_plans.c.token == token)).mappings().first()
        return None if row is None else _stored(row)

    def frozen_as(self, sha256: str, frozen_utc: str) -> StoredPlan | None:
        """The plan that was frozen here with this fingerprint at this moment, or None."""
        p = db.ride_plans.c
        with self._database.reading() as connection:
            query = select(db.ride_plans).where(p.fingerprint == sha256, p.frozen_utc == frozen_utc)
            row = connection.execute(query.order_by(p.token)).mappings().first()
        return None if row is None else _stored(row)

    def change(self, token: str, design: Design, *, seen_version: int) -> int:
        """Put another design in its place; returns the new version. Raises NoSuchPlan, PlanFrozen, ChangedMeanwhile."""
        p = db.ride_plans.c
        with self._database.writing() as connection:
            _open_row(connection, token, seen_version)
            step = update(db.ride_plans).where(p.token == token)
            connection.execute(step.values(design_json=_json(design), version=seen_version + 1))
        return seen_version + 1

    def freeze(self, token: str, *, seen_version: int) -> StoredPlan:
        """State date and fingerprint of what is kept now. Raises NoSuchPlan, PlanFrozen, ChangedMeanwhile."""
        p = db.ride_plans.c
        with self._database.writing() as connection:
            design = _open_row(connection, token, seen_version)
            step = update(db.ride_plans).where(p.token == token)
            connection.execute(step.values(frozen_utc=now_utc(), fingerprint=fingerprint(design)))
            row = connection.execute(select(db.ride_plans).where(p.token == token)).mappings().one()
            return _stored(row)

    def delete(self, token: str) -> None:
        """Forget a plan. Raises NoSuchPlan."""
        with self._database.writing() as connection:
            if connection.execute(delete(db.ride_plans).where(db.ride_plans.c.token == token)).rowcount != 1:
                raise NoSuchPlan()

    def owner_of(self, token: str, owner_key: str) -> bool:
        """Whether the key is the plan's; the comparison's time tells nothing of how close it was."""
        p = db.ride_plans.c
        with self._database.reading() as connection:
            known = connection.execute(select(p.key_sha256).where(p.token == token)).scalar()
        return hmac.compare_digest(key_hash(owner_key), known or "")


def _open_row(connection: Connection, token: str, seen_version: int) -> Design:
    p = db.ride_plans.c
    row = connection.execute(select(p.version, p.frozen_utc, p.design_json).where(p.token == token).with_for_update()).first()
    if row is None:
        raise NoSuchPlan()
    if row.frozen_utc is not None:
        raise PlanFrozen()
    if row.version != seen_version:
        raise ChangedMeanwhile(CHANGED)
    return design_from_dict(json.loads(row.design_json))


def _stored(row: Mapping) -> StoredPlan:
    return StoredPlan(
        token=row["token"], design=design_from_dict(json.loads(row["design_json"])), version=row["version"],
        created_utc=row["created_utc"], frozen_utc=row["frozen_utc"], fingerprint=row["fingerprint"],
    )  # fmt: skip


def _json(design: Design) -> str:
    return json.dumps(design.to_dict(), ensure_ascii=False, allow_nan=False)
