"""The set-up: what it takes, and a complaint that names the key for everything else."""

import pytest

from analysis.errors import BadSetup
from analysis.setup import DEFAULT_LOSS_PCT, Setup, setup_from_dict, setup_from_toml

WHOLE = """
[trial]
title = "Boathouse, evening"
reference = "hub"
[drivetrain]
loss_pct = [1.0, 4]
[[device]]
label = "hub"
file = "hub.fit"
point = "hub"
claim_pct = 1.5
firmware = "3.10"
shift_s = -0.4
power = "developer"
obtained = "lent by the maker"
[[plan]]
name = "hold 200"
duration_s = 600
target_w = 200
kind = "steady"
"""


def test_every_documented_key_is_read():
    got = setup_from_toml(WHOLE)
    assert (got.title, got.reference, got.loss_pct) == ("Boathouse, evening", "hub", (1.0, 4.0))
    device = got.devices[0]
    assert (device.label, device.file, device.point, device.claim_pct) == ("hub", "hub.fit", "hub", 1.5)
    assert (device.firmware, device.shift_s, device.power) == ("3.10", -0.4, "developer")
    assert device.obtained == "lent by the maker"
    step = got.plan[0]
    assert (step.name, step.duration_s, step.target_w, step.kind) == ("hold 200", 600.0, 200.0, "steady")


def test_nothing_is_required():
    assert setup_from_toml("") == Setup()
    assert Setup().loss_pct == DEFAULT_LOSS_PCT


def test_tree_reads_back_to_the_same_setup():
    setup = setup_from_toml(WHOLE)
    assert setup_from_dict(setup.to_dict()) == setup


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("[trial]\nname = 'x'", "trial.name"),
        ("[rider]\nmass = 70", "rider"),
        ("[[device]]\nlabel = 'a'\npoint = 'saddle'", "device[0].point"),
        ("[[device]]\npoint = 'hub'", "device[0] needs a file or a label"),
        ("[[device]]\nlabel = 'a'\nclaim_pct = '1'", "device[0].claim_pct"),
        ("[[device]]\nlabel = 'a'\nclaim_pct = nan", "device[0].claim_pct"),
        ("[[device]]\nlabel = 'a'\nclaim_pct = true", "device[0].claim_pct"),
        ("[[device]]\nlabel = 'a'\nshift_s = inf", "device[0].shift_s"),
        ("[[device]]\nlabel = 'a'\n[[device]]\nlabel = 'a'", "label = 'a'"),
        ("[drivetrain]\nloss_pct = [5, 1]", "drivetrain.loss_pct"),
        ("[drivetrain]\nloss_pct = 3", "drivetrain.loss_pct"),
        ("[[plan]]\nname = 'x'", "plan[0].duration_s is missing"),
        ("[[plan]]\nduration_s = 60\nkind = 'fast'", "plan[0].kind"),
        ("device = 3", "device must be a list"),
        ("[trial\n", "not valid TOML"),
    ],
)
def test_complaint_is_one_sentence_that_names_file_and_key(text, names):
    with pytest.raises(BadSetup) as caught:
        setup_from_toml(text, name="mine.toml")
    message = str(caught.value)
    assert message.startswith("mine.toml")
    assert names in message
    assert "\n" not in message


FROZEN = {"sha256": "a" * 64, "frozen_utc": "2026-03-14T18:00:00Z", "steps_sha256": "b" * 64}


def test_a_plan_frozen_beforehand_stays_with_the_set_up():
    got = setup_from_dict({"frozen_plan": FROZEN})
    assert setup_from_dict(got.to_dict()) == got and got.frozen_plan.sha256 == "a" * 64
    assert "frozen_plan" not in Setup().to_dict()


@pytest.mark.parametrize(
    ("change", "words"),
    [({"sha256": "no hash"}, "frozen_plan.sha256"), ({"frozen_utc": "yesterday"}, "frozen_plan.frozen_utc"),
     ({"frozen_utc": "2026-03-14T18:00:00"}, "with its zone"), ({"token": "x"}, "unknown key frozen_plan.token")],
)  # fmt: skip
def test_what_is_said_of_a_frozen_plan_is_whole_or_a_complaint(change, words):
    with pytest.raises(BadSetup, match=words):
        setup_from_dict({"frozen_plan": FROZEN | change})
    with pytest.raises(BadSetup, match="steps_sha256 is missing"):
        setup_from_dict({"frozen_plan": {k: v for k, v in FROZEN.items() if k != "steps_sha256"}})
