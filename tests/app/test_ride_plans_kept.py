"""Ride plans in the store. Referees: the round trip of a design, the fingerprint of what was frozen, two owners at once."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.default_design import core_design, default_design
from analysis.designing import Aim, fingerprint
from app.store import ChangedMeanwhile, NoSuchPlan, PlanFrozen, Store

BOTH_DATABASES = True
AIM = Aim(claim_pct=1.5, reference_claim_pct=1.0, point="pedal", reference_point="hub", loss_pct=(1.5, 4.0))
DESIGN = replace(default_design(261.0), title='Kiln = <b> "first"', aim=AIM, seed=7)


def test_a_plan_comes_back_as_it_was_given_and_only_its_key_opens_it(store):
    new = store.plans.create(DESIGN)
    kept = store.plans.of(new.token)
    assert (kept.design, kept.version, kept.frozen_utc, kept.fingerprint) == (DESIGN, 1, None, None)
    assert store.plans.owner_of(new.token, new.owner_key)
    assert not store.plans.owner_of(new.token, new.owner_key[:-1])
    assert not store.plans.owner_of("x" * 32, new.owner_key)
    assert store.plans.of("x" * 32) is None
    assert new.owner_key.encode() not in b"".join(p.read_bytes() for p in store_files(store))


def store_files(store: Store):
    return [p for p in store._blobs._folder.parent.rglob("*") if p.is_file()]


def test_once_frozen_it_states_what_it_was_and_nobody_changes_it(store):
    new = store.plans.create(core_design(200.0))
    assert store.plans.change(new.token, DESIGN, seen_version=1) == 2
    frozen = store.plans.freeze(new.token, seen_version=2)
    assert frozen.fingerprint == fingerprint(DESIGN)
    assert frozen.frozen_utc >= frozen.created_utc
    with pytest.raises(PlanFrozen, match="make a changed copy"):
        store.plans.change(new.token, DESIGN, seen_version=2)
    with pytest.raises(PlanFrozen):
        store.plans.freeze(new.token, seen_version=2)
    assert store.plans.of(new.token) == frozen


def test_of_two_who_change_it_at_once_the_later_is_told(store):
    new = store.plans.create(DESIGN)
    store.plans.change(new.token, replace(DESIGN, seed=8), seen_version=1)
    with pytest.raises(ChangedMeanwhile, match="reload the page"):
        store.plans.change(new.token, replace(DESIGN, seed=9), seen_version=1)
    with pytest.raises(ChangedMeanwhile):
        store.plans.freeze(new.token, seen_version=1)
    assert store.plans.of(new.token).design.seed == 8


def test_a_plan_that_is_deleted_or_never_was_is_one_and_the_same(store):
    new = store.plans.create(DESIGN)
    store.plans.delete(new.token)
    for act in (lambda: store.plans.delete(new.token), lambda: store.plans.change(new.token, DESIGN, seen_version=1)):
        with pytest.raises(NoSuchPlan, match="no ride plan at this address"):
            act()
