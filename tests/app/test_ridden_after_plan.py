"""A trial ridden after a frozen plan says so and claims nothing else. Referees: the kept plan, the recordings' clock."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from asking import settled

from analysis.designing import Design, Exercise, Part, fingerprint
from analysis.freezing import steps_hash
from analysis.reading import read
from analysis.setup import setup_from_toml
from app import links, showing
from app.jobs import Ready
from app.main import create_app
from app.planning import handing
from app.services import CONFIG_KEY
from app.settings import Settings

HOLDS_W = (150.0, 200.0, 170.0, 220.0)
DESIGN = Design(
    title="Four rungs",
    parts=(Part(name="rungs", steps=tuple(Exercise(name=f"rung {w:.0f}", duration_s=240.0, target_w=w) for w in HOLDS_W)),),
)
# A ride of the year 2033, after anything frozen while the tests run; and one of 2020.
AFTER_S, BEFORE_S = 2_000_000_000, 1_600_000_000


def lines(start_s: float, gain: float) -> bytes:
    power = [w * gain + t * 7 % 5 for w in HOLDS_W for t in range(240)]
    rows = [f"{start_s + t},{w:.1f},{85 + t % 3}" for t, w in enumerate(power)]
    return "\n".join(["time,power,cadence", *rows]).encode()


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ridden_after")
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results"))
    yield app
    app.server.config[CONFIG_KEY].close()


@pytest.fixture(scope="module")
def frozen(site):
    plans = site.server.config[CONFIG_KEY].store.plans
    new = plans.create(DESIGN)
    return plans.freeze(new.token, seen_version=1)


def shown(site, start_s: float, setup) -> tuple[str, dict]:
    """What readers find on the trial's page, and the result."""
    services = site.server.config[CONFIG_KEY]
    pairs = [(services.store.put_recording(read(lines(start_s, gain), name=name)), name)
             for name, gain in (("hub.csv", 1.0), ("pedals.csv", 1.01))]  # fmt: skip
    trial_id = services.store.create_trial(pairs, setup).trial_id
    assert isinstance(settled(services.jobs, trial_id, within_s=120), Ready)
    with site.server.test_request_context(links.trial_path(trial_id)):
        page = json.dumps(showing.content(trial_id).to_plotly_json(), default=lambda part: part.to_plotly_json())
    return page, services.jobs.ask(trial_id).open_trial.report


def handed(site, frozen):
    with site.server.test_request_context("/"):
        return setup_from_toml(handing.plan_for_sheet(frozen.token).setup_text)


def test_readers_are_told_which_plan_came_first_and_what_of_it_was_ridden(site, frozen):
    page, report = shown(site, AFTER_S, handed(site, frozen))
    assert "Ridden after " in page and links.plan_path(frozen.token) in page
    assert fingerprint(DESIGN) in page and frozen.frozen_utc in page
    assert "It asks for 4 holds and efforts; 4 of them were ridden as planned" in page
    assert report["plan"]["frozen"] == {
        "sha256": fingerprint(DESIGN), "frozen_utc": frozen.frozen_utc, "same_steps": True, "came_first": True,
    }  # fmt: skip


def test_a_plan_frozen_after_the_ride_did_not_come_first(site, frozen):
    page, _ = shown(site, BEFORE_S, handed(site, frozen))
    assert "the plan did not come first" in page and "Ridden after" not in page


def test_steps_changed_after_the_freeze_take_the_claim_away(site, frozen):
    setup = handed(site, frozen)
    changed = replace(setup, plan=(replace(setup.plan[0], target_w=160.0), *setup.plan[1:]))
    page, report = shown(site, AFTER_S, changed)
    assert "its steps were changed after that" in page and "Ridden after" not in page
    assert report["plan"]["frozen"]["same_steps"] is False


def test_a_hash_that_somebody_brings_along_is_only_the_set_up_s_word(site, frozen):
    setup = handed(site, frozen)
    other = replace(setup, frozen_plan=replace(setup.frozen_plan, sha256="0" * 64))
    page, _ = shown(site, AFTER_S, other)
    assert "The set-up says: ridden after" in page and "has not frozen that plan itself" in page
    assert links.plan_path(frozen.token) not in page
    # the hash of a real plan beside the steps of another
    own = tuple(replace(step, target_w=step.target_w + 5) for step in setup.plan)
    forged = replace(setup, plan=own, frozen_plan=replace(setup.frozen_plan, steps_sha256=steps_hash(own)))
    assert "The set-up says: ridden after" in shown(site, AFTER_S, forged)[0]


def test_a_plan_that_is_not_frozen_is_handed_on_without_a_claim(site):
    plans = site.server.config[CONFIG_KEY].store.plans
    new = plans.create(replace(DESIGN, title="open"))
    with site.server.test_request_context("/"):
        assert setup_from_toml(handing.plan_for_sheet(new.token).setup_text).frozen_plan is None


def test_now_is_before_the_ride_of_these_tests():
    assert datetime.now(UTC).timestamp() < AFTER_S
