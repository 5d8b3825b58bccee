"""The whole way on the built-in trial: the contract, the invariants, and recordings that do not belong together."""

import itertools
import json
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

import sample_data
from analysis.archive import pack, unpack
from analysis.errors import BadSetup, NotOneRide, SameRecording, UnreadableFile, UnusableRecording
from analysis.judging import judge_interval
from analysis.pipeline import compare
from analysis.reading import read
from analysis.setup import DeviceSetup, Setup, setup_from_toml
from made import recording, without
from sample_data.ride_model import hold_plan, record, ride

DELTA_FIELDS = {
    "label", "n_s", "mean_w", "reference_mean_w", "delta_w", "delta_w_ci", "delta_pct", "delta_pct_ci", "allowance_pct",
    "likely_allowance_pct", "verdict", "reason",
}  # fmt: skip
CONTRACT = {
    "recordings": {"label", "file", "sha256", "format", "point", "claim_pct", "start_utc", "duration_s", "samples", "interval_s",
                   "channels", "facts", "warnings"},
    "alignment": {"label", "shift_s", "shift_se_s", "drift_ppm", "via", "correlation", "settled"},
    "blocks": {"id", "start_s", "end_s", "kind", "level_w", "cadence_rpm", "name", "edited"},
    "deltas": {"block", *DELTA_FIELDS},
    "summary": {"kind", "blocks", *DELTA_FIELDS},
    "response": {"label", "events", "lag_s", "lag_ci_s", "rise_s", "reference_rise_s", "smoothing_s", "peaks"},
    "agreement": {"label", "bias_w", "limits_w", "slope", "intercept_w", "noise_w"},
    "findings": {"code", "label", "size", "unit", "ci", "strength", "text"},
}  # fmt: skip


@pytest.fixture(scope="module")
def boathouse():
    return [read(data, name=name) for name, data in sample_data.recordings().items()]


@pytest.fixture(scope="module")
def setup():
    return setup_from_toml(sample_data.setup_text())


@pytest.fixture(scope="module")
def result(boathouse, setup):
    return compare(boathouse, setup)


@pytest.fixture(scope="module")
def tree(result):
    return json.loads(json.dumps(result.to_dict(), allow_nan=False))


def test_json_has_every_section_and_field_of_the_contract(tree):
    assert tree["schema"] == "countercheck/1"
    assert {"version", "title", "reference", "headline"} <= set(tree)
    for section, fields in CONTRACT.items():
        assert tree[section], section
        for entry in tree[section]:
            assert fields <= set(entry), (section, fields - set(entry))


def test_built_in_trial_tells_its_story(tree):
    """Planted: the pedals creep as they warm and answer 1.6 s late; the spider agrees throughout."""
    by_label = {}
    for finding in tree["findings"]:
        by_label.setdefault(finding["label"], []).append(finding)
    pedals, spider = by_label["pedals"], by_label["spider"]
    assert pedals[0]["code"] in ("drift", "temperature")
    assert next(f for f in pedals if f["code"] == "lag")["size"] == approx(1.6, abs=0.15)
    assert spider[0]["code"] == "none"
    verdicts = {(d["block"], d["label"]): d["verdict"] for d in tree["deltas"]}
    held = [b for b in tree["blocks"] if b["kind"] == "steady"]
    assert verdicts[held[0]["id"], "pedals"] == "within"
    assert verdicts[held[-1]["id"], "pedals"] == "outside"
    assert all(verdicts[b["id"], "spider"] == "within" for b in held)
    assert tree["headline"].startswith("Pedals against hub: the difference climbs from ")


def test_blocks_of_the_result_partition_the_trial(tree):
    blocks = tree["blocks"]
    assert all(a["end_s"] == b["start_s"] for a, b in itertools.pairwise(blocks))
    assert len({b["id"] for b in blocks}) == len(blocks)


def test_planned_names_are_taken_over_in_order(tree, setup):
    planned = [s.name for s in setup.plan if s.kind == "steady"]
    named = [b["name"] for b in tree["blocks"] if b["kind"] == "steady"]
    assert [n for n in named if n in planned] == [p for p in planned if p in named]
    assert len(set(planned) & set(named)) >= 0.9 * len(planned)


def test_shifting_every_clock_by_the_same_amount_changes_nothing(boathouse, setup, tree):
    moved = [replace(r, samples=r.samples.assign(time_s=r.samples["time_s"] + 86400.0 * 3)) for r in boathouse]
    again = compare(moved, setup).to_dict()
    for section in ("blocks", "deltas", "summary", "response", "agreement"):
        assert json.loads(json.dumps(again[section])) == approx_tree(tree[section])
    assert again["headline"] == tree["headline"]


def approx_tree(value):
    """Equal but for the last digits of floating point: stamps three days later have fewer of them."""
    if isinstance(value, dict):
        return {k: approx_tree(v) for k, v in value.items()}
    if isinstance(value, list):
        return [approx_tree(v) for v in value]
    return approx(value, rel=1e-4, abs=1e-4) if isinstance(value, float) else value


def test_order_of_the_files_does_not_matter_when_the_reference_is_named(boathouse, setup, tree):
    again = json.loads(json.dumps(compare(boathouse[::-1], setup).to_dict()))
    assert again["headline"].split(";")[0] == tree["headline"].split(";")[0]
    key = lambda d: (d["block"], d["label"])  # noqa: E731
    assert sorted(again["deltas"], key=key) == approx_tree(sorted(tree["deltas"], key=key))


def test_interval_card_equals_the_delta_table(result):
    """The page asks for an interval, the table was made with the result: one number, one computation."""
    block = next(b for b in result.blocks if b.kind == "steady")
    table = {d.label: d for b, d in result.deltas if b == block.id}
    card = judge_interval(result.trial, block.interior_start_s, block.interior_end_s)
    assert {d.label: d for d in card} == table


def test_packed_result_opens_to_the_same_figures(result, boathouse, setup):
    data = pack(result)
    assert data == pack(compare(boathouse, setup))
    opened = unpack(data)
    assert opened.report == json.loads(json.dumps(result.to_dict()))
    assert judge_interval(opened.trial, 600, 900) == judge_interval(result.trial, 600, 900)


@pytest.mark.parametrize("damage", [b"", b"not a zip", None])
def test_damaged_packed_result_is_refused(result, damage):
    data = pack(result)[:5000] if damage is None else damage
    with pytest.raises(UnreadableFile, match="compute it again"):
        unpack(data)


def test_progress_is_told_in_words_and_never_runs_back(boathouse, setup):
    told = []
    compare(boathouse, setup, progress=lambda stage, done: told.append((stage, done)))
    shares = [done for _, done in told]
    assert shares == sorted(shares)
    assert 0 <= shares[0] <= shares[-1] <= 1
    assert all(stage for stage, _ in told)


def made(name, seed=1, *, drop=(), **device):
    truth = ride(hold_plan([150, 200, 250]), seed=seed)
    return recording(without(record(truth, seed=len(name), noise_frac=0.01, **device), *drop), name)


def test_one_recording_is_not_a_comparison():
    with pytest.raises(NotOneRide, match=r"at least two recordings.*a\.fit"):
        compare([made("a.fit")])


def test_the_same_recording_twice_is_named():
    one = made("a.fit")
    with pytest.raises(SameRecording, match=r"b\.fit is the same recording as a\.fit"):
        compare([one, replace(one, name="b.fit")])


def test_a_recording_without_power_is_named():
    with pytest.raises(UnusableRecording, match=r"bb\.fit holds no power"):
        compare([made("a.fit"), made("bb.fit", drop=("power_w",))])


def test_rides_of_different_days_are_refused():
    with pytest.raises(NotOneRide, match="share no time"):
        compare([made("a.fit"), made("bb.fit", seed=9, clock_ahead_s=5 * 86400.0)])


def test_one_sensor_in_two_files_is_said():
    """Two head units that hear one sensor: the same values, other clocks."""
    one = record(ride(hold_plan([150, 200, 250]), seed=1), seed=1, noise_frac=0.01)
    two = {**one, "time_s": one["time_s"] + 2.0}
    got = compare([recording(one, "a.fit"), recording(two, "bb.fit")])
    assert any("one sensor cannot be its own referee" in w for w in got.warnings)
    assert not any("own referee" in w for w in compare([made("a.fit"), made("bb.fit")]).warnings)


def test_setup_that_names_what_was_not_given_is_refused():
    with pytest.raises(BadSetup, match=r"'crank.fit', which was not given"):
        compare([made("a.fit"), made("bb.fit")], Setup(devices=(DeviceSetup(file="crank.fit", label="crank"),)))
    with pytest.raises(BadSetup, match="reference 'crank' is none of the recordings"):
        compare([made("a.fit"), made("bb.fit")], Setup(reference="crank"))


def test_unstated_claims_and_points_are_said_not_silent():
    got = compare([made("a.fit"), made("bb.fit")])
    assert "No claim is stated for a.fit and bb.fit; ±2 % is assumed." in got.warnings
    assert sum("measured for a.fit and bb.fit" in w for w in got.warnings) == 1


def test_a_shift_by_hand_is_used_and_shown():
    setup = Setup(devices=(DeviceSetup(file="bb.fit", label="b", shift_s=3.5),))
    got = compare([made("a.fit"), made("bb.fit", clock_ahead_s=-3.3)], setup).to_dict()["alignment"][1]
    assert (got["via"], got["shift_s"]) == ("manual", 3.5)


def test_labels_of_two_alike_files_are_told_apart():
    same = Setup(devices=())
    one, two = made("a.fit"), replace(made("bb.fit"), name="a.fit")
    labels = [r["label"] for r in compare([one, two], same).to_dict()["recordings"]]
    assert len(set(labels)) == 2


def test_numbers_of_the_result_are_finite_or_null(tree):
    def walk(value):
        if isinstance(value, dict):
            return all(map(walk, value.values()))
        if isinstance(value, list):
            return all(map(walk, value))
        return not isinstance(value, float) or np.isfinite(value)

    assert walk(tree)


def test_the_whole_trial_as_an_interval_is_the_summary_over_all(result):
    """Over many blocks their spread makes the interval; the seconds of an hour that drifts could not."""
    edges = [b.start_s for b in result.blocks]
    card = {d.label: d for d in judge_interval(result.trial, result.trial.start_s, result.trial.end_s, edges_s=edges)}
    for kind, judged in result.summary:
        if kind == "all":
            assert card[judged.label].delta_pct == approx(judged.delta_pct, abs=0.01)
            assert card[judged.label].delta_pct_ci == approx(judged.delta_pct_ci, abs=0.05)


def test_no_verdict_rests_on_a_clock_that_is_not_settled():
    """A pattern that repeats exactly fits one repeat further as well, so no held delta may be called within or outside."""
    rng = np.random.default_rng(3)
    t = np.arange(2400.0)
    power = 200 + 100 * ((t % 60) < 40)
    watts = {"a": power + rng.normal(0, 3, t.size), "b": 1.2 * power + rng.normal(0, 3, t.size)}
    loose = [recording({"time_s": 1.7e9 + t, "power_w": w}, name) for name, w in watts.items()]
    got = compare(loose)
    assert not got.alignment[1].settled
    assert {d.verdict for _, d in (*got.deltas, *got.summary)} == {"unsettled"}
    assert {d.verdict for d in judge_interval(unpack(pack(got)).trial, 100, 900)} == {"unsettled"}
    by_hand = compare(loose, Setup(devices=(DeviceSetup(file="b", label="b", shift_s=0.0),)))
    assert "outside" in {d.verdict for _, d in by_hand.summary}


def test_an_interval_is_two_numbers_or_nothing():
    """Three held blocks of one ride at one rate: a line through them has no interval, and half a one helps nobody."""
    truth = ride(hold_plan([150, 200, 250], hold_s=90), seed=4)
    made_of = [recording(record(truth, seed=s, noise_frac=0.0), n) for s, n in ((1, "a"), (2, "b"))]

    def intervals(value, key=""):
        if isinstance(value, dict):
            return [i for k, v in value.items() for i in intervals(v, k)]
        if isinstance(value, list) and "ci" in key.split("_"):
            return value if isinstance(value[0], list) else [value]
        return [i for v in value for i in intervals(v)] if isinstance(value, list) else []

    found = intervals(compare(made_of).to_dict())
    assert found
    assert all(len(i) == 2 and all(isinstance(edge, float) for edge in i) for i in found)
