"""One computation per key. Referees: the count of what the pretended analysis was asked, the bytes that came out."""

from __future__ import annotations

import threading
import time
from dataclasses import replace

import pretend
import pytest
from asking import settled

from analysis.errors import CountercheckError, NotOneRide
from analysis.setup import DeviceSetup, Setup
from app import jobs as jobs_module
from app.jobs import Failed, Jobs, Ready, Working
from app.store import Store


def test_many_asks_at_once_are_one_computation(bench):
    trial_id = bench.trial()
    bench.counter.gate.clear()
    barrier, answers = threading.Barrier(8), []

    def ask():
        barrier.wait()
        answers.append(bench.jobs.ask(trial_id))

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    bench.counter.gate.set()
    assert all(isinstance(answer, Working) for answer in answers)
    assert isinstance(settled(bench.jobs, trial_id), Ready)
    assert len(bench.counter.compares) == 1


def test_two_workers_share_one_computation_and_its_progress(bench):
    # A second Store and Jobs on the same folders is what a second worker process has.
    other_store, other_counter = Store(bench.settings), pretend.Counter()
    other = Jobs(other_store, other_counter.engine())
    trial_id = bench.trial()
    bench.counter.gate.clear()
    bench.jobs.ask(trial_id)
    end = time.monotonic() + 20
    while other.ask(trial_id) != Working(stage="aligning the clocks", done_frac=pytest.approx(2 / 3 + 0.25 / 3)):
        assert time.monotonic() < end, "the other worker never saw the progress"
        time.sleep(0.01)
    bench.counter.gate.set()
    assert settled(other, trial_id).open_trial.report == settled(bench.jobs, trial_id).open_trial.report
    assert (len(bench.counter.compares), len(other_counter.compares)) == (1, 0)
    other.close()
    other_store.close()


def test_opening_a_link_again_computes_nothing_even_after_a_restart(bench):
    trial_id = bench.trial()
    first = settled(bench.jobs, trial_id)
    assert bench.jobs.ask(trial_id) is first
    fresh = pretend.Counter()
    restarted = Jobs(bench.store, fresh.engine())
    again = restarted.ask(trial_id)
    assert isinstance(again, Ready)
    assert again.open_trial.report == first.open_trial.report
    assert (fresh.reads, fresh.compares) == ([], [])
    restarted.close()


def test_losing_the_cache_costs_time_and_gives_the_same_bytes(bench):
    trial_id = bench.trial()
    settled(bench.jobs, trial_id)
    before = bench.result_bytes(trial_id)
    bench.store.results.clear()
    restarted = Jobs(bench.store, bench.counter.engine())
    assert isinstance(settled(restarted, trial_id), Ready)
    assert bench.result_bytes(trial_id) == before
    assert len(bench.counter.compares) == 2
    restarted.close()


def test_a_result_that_cannot_be_opened_is_computed_again(bench):
    trial_id = bench.trial()
    settled(bench.jobs, trial_id)
    good = bench.result_bytes(trial_id)
    bench.store.results.put(f"result:{bench.jobs.key_of(bench.store.trial(trial_id))}", b"\x00 not a result")
    restarted = Jobs(bench.store, bench.counter.engine())
    assert isinstance(settled(restarted, trial_id), Ready)
    assert bench.result_bytes(trial_id) == good
    restarted.close()


def test_a_new_set_up_is_a_new_computation_but_no_new_reading(bench):
    trial_id = bench.trial()
    settled(bench.jobs, trial_id)
    bench.store.change_setup(trial_id, Setup(title="second thoughts"))
    assert settled(bench.jobs, trial_id).open_trial.report["title"] == "second thoughts"
    assert (len(bench.counter.compares), bench.counter.reads) == (2, [])


def test_the_key_holds_everything_a_result_depends_on(bench):
    trial = bench.store.trial(bench.trial())
    key = bench.jobs.key_of
    others = [
        replace(trial, recordings=trial.recordings[::-1]),
        replace(trial, recordings=((trial.recordings[0][0], "renamed.line"), trial.recordings[1])),
        replace(trial, setup=Setup(loss_pct=(1.0, 5.1))),
        replace(trial, setup=Setup(devices=(DeviceSetup(file="a.line", claim_pct=1.0),))),
    ]
    keys = {key(trial), *map(key, others), Jobs(bench.store, bench.counter.engine("pretended-2")).key_of(trial)}
    assert len(keys) == 6
    assert all(len(k) * 4 >= 128 for k in keys)
    # who made it and when do not matter: the same files and set-up share one result
    assert key(replace(trial, trial_id="other", created_utc="later", setup_version=9)) == key(trial)


def test_a_failure_is_kept_and_told_again_without_another_try(bench):
    bench.counter.trouble = CountercheckError("a.line and b.line share no time; leave one out.")
    trial_id = bench.trial()
    assert settled(bench.jobs, trial_id) == Failed(sentence="a.line and b.line share no time; leave one out.")
    tries = len(bench.counter.compares)
    restarted = Jobs(bench.store, bench.counter.engine())
    assert restarted.ask(trial_id) == Failed(sentence="a.line and b.line share no time; leave one out.")
    assert len(bench.counter.compares) == tries
    restarted.close()


def test_a_broken_file_does_not_cost_the_good_ones_and_is_reported(bench):
    trial_id = bench.trial(b"power 200", b"rubbish", b"silent 5", b"power 205", b"power 200")
    report = settled(bench.jobs, trial_id).open_trial.report
    assert [r["label"] for r in report["recordings"]] == ["a.line", "d.line"]
    assert len(report["warnings"]) == 3
    for sentence, name in zip(report["warnings"], ("b.line", "c.line", "e.line"), strict=True):
        assert name in sentence


def test_too_few_good_files_name_each_bad_one(bench):
    answer = settled(bench.jobs, bench.trial(b"power 200", b"rubbish", b"silent 5"))
    assert isinstance(answer, Failed)
    assert len(answer.sentence.splitlines()) == 2
    assert "b.line" in answer.sentence
    assert "c.line" in answer.sentence


class Strangers(pretend.Counter):
    """A pretended analysis in which recordings above 500 W belong to another ride."""

    def compare(self, recordings, setup, progress, complaints):
        for r in recordings:
            if r.samples["power_w"].mean() > 500:
                self.compares.append(tuple(r.name for r in recordings))
                raise NotOneRide(f"{r.name} shares no time with the others; leave it out.")
        return super().compare(recordings, setup, progress, complaints)


def test_a_recording_of_another_ride_does_not_cost_the_others(bench):
    jobs = Jobs(bench.store, Strangers().engine())
    devices = tuple(DeviceSetup(file=f"{c}.line", label=c) for c in "abc")
    setup = Setup(reference="c", devices=devices)
    answer = settled(jobs, bench.trial(b"power 200", b"power 900", b"power 205", setup=setup))
    assert [r["label"] for r in answer.open_trial.report["recordings"]] == ["a.line", "c.line"]
    assert answer.open_trial.report["warnings"] == ["b.line shares no time with the others; leave it out."]
    jobs.close()


def test_two_recordings_of_different_rides_are_one_sentence(bench):
    engine = Strangers()
    jobs = Jobs(bench.store, engine.engine())
    answer = settled(jobs, bench.trial(b"power 200", b"power 900"))
    assert answer == Failed(sentence="b.line shares no time with the others; leave it out.")
    assert len(engine.compares) == 1
    jobs.close()


def test_a_broken_reference_hands_over_and_says_so(bench):
    devices = (DeviceSetup(file="a.line", label="hub"), DeviceSetup(file="b.line", label="pedals"))
    setup = Setup(reference="hub", devices=devices)
    report = settled(bench.jobs, bench.trial(b"rubbish", b"power 200", b"power 205", setup=setup)).open_trial.report
    assert report["reference"] == "b.line"
    assert any("'hub'" in sentence and "takes its place" in sentence for sentence in report["warnings"])


def test_a_fault_of_the_program_is_a_sentence_and_passes(bench, monkeypatch):
    bench.counter.trouble = ZeroDivisionError("division by zero")
    trial_id = bench.trial()
    answer = settled(bench.jobs, trial_id)
    assert isinstance(answer, Failed)
    assert "division" not in answer.sentence
    assert "fault of the program" in answer.sentence
    # once the time to try again has come, a passing fault is forgotten
    bench.counter.trouble = None
    monkeypatch.setattr(jobs_module.time, "monotonic", lambda now=time.monotonic: now() + 2 * jobs_module.RETRY_S)
    bench.store.results.clear()
    assert isinstance(settled(bench.jobs, trial_id, within_s=200), Ready)


def test_a_missing_recording_is_a_sentence(bench):
    trial_id = bench.trial()
    for path in (bench.settings.data_dir / "recordings").rglob("*"):
        if path.is_file():
            path.unlink()
    answer = settled(bench.jobs, trial_id)
    assert isinstance(answer, Failed)
    assert "upload the file again" in answer.sentence


def test_an_unknown_trial_is_a_sentence(bench):
    assert bench.jobs.ask("n" * 32) == Failed(sentence="There is no trial at this address; check that the link is complete.")


def test_a_dead_workers_lock_does_not_block_for_ever(bench):
    trial_id = bench.trial()
    key = f"lock:{bench.jobs.key_of(bench.store.trial(trial_id))}"
    assert bench.store.results.claim(key, b"a worker that was killed", expire_s=0.3)
    assert isinstance(bench.jobs.ask(trial_id), Working)
    assert isinstance(settled(bench.jobs, trial_id), Ready)
    assert len(bench.counter.compares) == 1


def test_a_long_stage_keeps_its_lock(bench, monkeypatch):
    monkeypatch.setattr(jobs_module, "HOLD_S", 0.4)
    other_store, other_counter = Store(bench.settings), pretend.Counter()
    other = Jobs(other_store, other_counter.engine())
    trial_id = bench.trial()
    bench.counter.gate.clear()
    bench.jobs.ask(trial_id)
    end = time.monotonic() + 1.2  # three times the hold
    while time.monotonic() < end:
        assert isinstance(other.ask(trial_id), Working)
        time.sleep(0.02)
    bench.counter.gate.set()
    assert isinstance(settled(other, trial_id), Ready)
    assert other_counter.compares == []
    other.close()
    other_store.close()


def test_a_recording_that_comes_back_is_used_without_waiting_for_another_version(bench, monkeypatch):
    trial_id = bench.trial()
    paths = [p for p in (bench.settings.data_dir / "recordings").rglob("*") if p.is_file()]
    contents = [path.read_bytes() for path in paths]
    for path in paths:
        path.unlink()
    assert isinstance(settled(bench.jobs, trial_id), Failed)
    for path, content in zip(paths, contents, strict=True):
        path.write_bytes(content)
    monkeypatch.setattr(jobs_module.time, "monotonic", lambda now=time.monotonic: now() + 2 * jobs_module.RETRY_S)
    bench.store.results.clear()  # where the sentence expires by the wall clock
    assert isinstance(settled(bench.jobs, trial_id, within_s=200), Ready)
