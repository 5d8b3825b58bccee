"""What a stretch shows beside its delta. Referees: plain loops over the same seconds, drop-outs planted by hand."""

import numpy as np
from pytest import approx

from analysis.within import PEAKS_S, within
from made import trial_of

SECONDS = 600


def made(*, hole=None):
    rng = np.random.default_rng(3)
    time = 1000.0 + np.arange(SECONDS)
    power = 200 + 30 * rng.standard_normal(SECONDS)
    power[300:312] = 700 + 20 * rng.standard_normal(12)
    other = 1.03 * power + 2 * rng.standard_normal(SECONDS)
    if hole:
        other[hole[0] : hole[1]] = np.nan
    cadence = np.where(np.arange(SECONDS) < 300, 80.0, 95.0)
    return trial_of([{"time_s": time, "power_w": power, "cadence_rpm": cadence}, {"time_s": time, "power_w": other}])


def test_peaks_are_the_best_means_inside_the_stretch_and_of_no_second_beyond():
    trial = made()
    device, reference = trial.per_second("b"), trial.per_second("a")
    for start, end in ((100, 310), (250, 350), (0, 600), (400, 420)):
        got = within(trial, "b", float(start), float(end))
        assert [p.duration_s for p in got.peaks] == list(PEAKS_S)
        for peak in got.peaks:
            windows = range(start, end - peak.duration_s + 1)
            best, other = (max(values[i : i + peak.duration_s].mean() for i in windows) for values in (device, reference))
            assert (peak.best_w, peak.reference_best_w) == (approx(best), approx(other))
            assert (peak.delta_w, peak.delta_pct) == (approx(best - other), approx(100 * (best / other - 1)))


def test_a_stretch_too_short_for_a_duration_has_no_such_peak_and_the_reference_has_none_against_itself():
    trial = made()
    assert [p.duration_s for p in within(trial, "b", 100.0, 107.0).peaks] == [1, 5]
    assert within(trial, "b", 100.2, 100.9).peaks == ()
    assert within(trial, "a", 0.0, 600.0).peaks == ()


def test_cadence_is_the_stretch_s_own_and_missing_where_none_was_recorded():
    trial = made()
    assert within(trial, "a", 250.0, 350.0).cadence_rpm == approx(87.5, abs=0.1)
    assert within(trial, "b", 250.0, 350.0).cadence_rpm is None


def test_lost_seconds_count_where_they_lie_in_the_stretch_and_peaks_leave_them_out():
    trial = made(hole=(298, 310))
    whole, part, none = (within(trial, "b", *span) for span in ((0.0, 600.0), (0.0, 304.0), (400.0, 500.0)))
    assert (whole.lost_runs, none.lost_s, none.lost_runs) == (1, 0, 0)
    assert whole.lost_s == approx(12, abs=1)
    assert part.lost_s == approx(whole.lost_s - 6, abs=1)
    assert within(trial, "a", 0.0, 600.0).lost_s == 0
    # both are held to the same seconds: a peak that one of them did not record is nobody's
    assert part.peaks[0].reference_best_w < 400


def test_a_best_of_a_reference_that_hardly_turned_has_watts_and_no_percentage():
    t = np.arange(60.0)
    trial = trial_of([{"time_s": t, "power_w": np.full(60, 2.0)}, {"time_s": t, "power_w": np.full(60, 80.0)}])
    peak = within(trial, "b", 0, 59).peaks[0]
    assert (peak.delta_w, peak.delta_pct) == (approx(78.0), None)
