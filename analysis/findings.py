"""From deltas, causes and response to statements for a reader, each with size, interval, strength and evidence.

Per device, the finding that explains most of its difference comes first. A constant ratio inside the allowance is the
expected drivetrain loss and no finding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.causes import Cause
from analysis.evidence import Evidence, Finding, held_of
from analysis.hypotheses import Hypothesis, hypotheses_of
from analysis.judging import JudgedDelta
from analysis.measuring import declared_facts, gained_power, single_sided
from analysis.numerals import plain
from analysis.trial import Trial
from analysis.verdict import signed

# Response: smaller lags and widths are below what one-second samples resolve. [s]
MIN_LAG_S = 0.5
MIN_SMOOTHING_S = 2.25  # two devices whose seconds begin at different places look up to 2 s apart
# Fewer lost seconds than this are ordinary. [s]
MIN_LOST_S = 10
# A clock this far off is worth telling, because head units set their time by themselves. [s]
MIN_CLOCK_S = 2.0
CLEAR_T = 6.0


def findings_of(trial: Trial, seen: Evidence) -> tuple[Finding, ...]:
    """Findings of one device, the one that explains most of its difference first; `none` where there is nothing."""
    biases = [_from_cause(seen, cause, trial) for cause in seen.causes]
    found = [*biases, *_gain(trial, seen), *gained_power(trial, seen)]
    found += single_sided(trial, seen, asserted={f.code for f in found})
    found += [*_lag(trial, seen), *_smoothing(trial, seen), *_lost(seen)]
    if not found:
        found = [_nothing(trial, seen)]
    weighed = hypotheses(seen, found)
    found = [_with_other_side(f, weighed) for f in found]
    return tuple(replace(f, text=f.text[0].upper() + f.text[1:]) for f in (*found, *_clock(trial, seen)))


def hypotheses(seen: Evidence, findings: Sequence[Finding]) -> tuple[Hypothesis, ...]:
    """The hypotheses of one device in the order that its findings set."""
    codes = [f.code for f in findings if f.label == seen.label]
    return hypotheses_of(seen.label, seen.weighed, held_of(seen), seen.response, seen.dropouts.seconds, codes)


def _with_other_side(finding: Finding, weighed: Sequence[Hypothesis]) -> Finding:
    """A finding with what speaks against it and what would settle it."""
    own = next((h for h in weighed if h.code == finding.code), None)
    return finding if own is None else replace(finding, against=own.evidence_against, settle=own.settle)


def _from_cause(seen: Evidence, cause: Cause, trial: Trial) -> Finding:
    label, low, high = seen.label, signed(cause.low_delta_pct), signed(cause.high_delta_pct)
    span = f"{_number(cause.ci[0])} to {_number(cause.ci[1])}"
    size = _number(cause.size)
    first, last = f"{cause.low_at:.0f}", f"{cause.high_at:.0f}"
    at = "rpm" if cause.unit == "N·m" else "W"
    shorts = {
        "drift": f"from {low} % at minute {60 * cause.low_at:.0f} to {high} % at minute {60 * cause.high_at:.0f}",
        "temperature": f"from {low} % at {first} °C to {high} % at {last} °C",
        "cadence": f"from {low} % at {first} rpm to {high} % at {last} rpm",
        "offset": f"from {low} % at {first} {at} to {high} % at {last} {at}",
        "single-sided": f"from {low} % at a left share of {100 * cause.low_at:.0f} % to {high} % at {100 * cause.high_at:.0f} %",
        "steady-bias": _only_held(seen) or f"while power is held, {low} % while riding along",
    }
    short = shorts[cause.code]
    texts = {
        "drift": f"{label} against {trial.reference}: the difference moves by {size} {cause.unit} ({span}), {short}.",
        "temperature": (
            f"{label} against {trial.reference}: the difference moves by {size} % per degree of recorded temperature "
            f"({span}), {short}."
        ),
        "cadence": f"{label} against {trial.reference}: the difference depends on cadence, {size} % per rpm ({span}), {short}.",
        "offset": f"{label} against {trial.reference}: a constant {size} {cause.unit} ({span}) beside the ratio, {short}.",
        "single-sided": (
            f"{label} against {trial.reference}: the difference follows the left share as that of a device that measures the "
            f"{'left' if cause.size > 0 else 'right'} side and doubles it, {short}."
        ),
        "steady-bias": (
            f"{label} against {trial.reference}: {size} % ({span}) more while power is held than while riding along, {high} % "
            f"against {low} %."
        ),
    }
    evidence = [
        f"It takes away {100 * cause.explained_frac:.0f} % of what a constant ratio leaves unexplained (t = {plain(cause.t)})."
    ]
    if cause.unit == "N·m":
        evidence.append("An offset of torque shows as watts that grow with cadence: check the zero of both devices.")
    evidence += declared_facts(seen, label, trial)
    return Finding(
        code=cause.code, label=label, size=cause.size, unit=cause.unit, ci=cause.ci, text=texts[cause.code], short=short,
        strength="clear" if abs(cause.t) >= CLEAR_T else "likely", evidence=tuple(evidence),
    )  # fmt: skip


def _only_held(seen: Evidence) -> str | None:
    """ "Not otherwise" only where the free riding is known to lie within what is allowed for."""
    free = seen.by_kind.get("free")
    return "while power is held, and not otherwise" if free is not None and free.verdict == "within" else None


def _gain(trial: Trial, seen: Evidence) -> list[Finding]:
    """A constant ratio beyond the allowance, asserted only where no other cause makes the ratio anything but constant."""
    held = held_of(seen)
    if held is None or held.verdict != "outside" or seen.causes or held.delta_pct is None or held.delta_pct_ci is None:
        return []
    low, high = held.delta_pct_ci
    text = (
        f"{seen.label} against {trial.reference}: {signed(held.delta_pct)} % throughout ({signed(low)} to {signed(high)} %), "
        f"where claims and drivetrain loss allow {_band(held)}."
    )
    return [
        Finding(
            code="gain",
            label=seen.label,
            size=held.delta_pct,
            unit="%",
            ci=(low, high),
            strength="clear",
            text=text,
            evidence=(
                f"The ratio is the same over {held.blocks} blocks; neither time, cadence nor level changes it.",
                *declared_facts(seen, seen.label, trial),
            ),
        )
    ]


def _lag(trial: Trial, seen: Evidence) -> list[Finding]:
    lag, ci = seen.response.lag_s, seen.response.lag_ci_s
    if lag is None or ci is None or abs(lag) < MIN_LAG_S or ci[0] <= 0 <= ci[1]:
        return []
    later = "later" if lag > 0 else "earlier"
    least, most = sorted(map(abs, ci))
    size = f"{abs(lag):.1f} s {later} ({least:.2f} to {most:.2f} s)"
    text = f"{seen.label} against {trial.reference}: a change of power shows {size}."
    strength = "clear" if seen.response.events >= 5 and min(map(abs, ci)) > 0.5 * MIN_LAG_S else "likely"
    peak = next((p for p in seen.response.peaks if p.duration_s == 1), None)
    evidence = [
        f"Seen in {seen.response.events} changes of power, with the clocks set by {seen.alignment.via.replace('_', ' ')}."
    ]
    if peak is not None:
        evidence.append(f"Its best second of the sprints reads {signed(peak.delta_pct)} % against {trial.reference}.")
    return [
        Finding(code="lag", label=seen.label, size=lag, unit="s", ci=ci, strength=strength, text=text, evidence=tuple(evidence))
    ]


def _smoothing(trial: Trial, seen: Evidence) -> list[Finding]:
    width = seen.response.smoothing_s
    if width is None or abs(width) < MIN_SMOOTHING_S:
        return []
    smooth, sharp = (seen.label, trial.reference) if width > 0 else (trial.reference, seen.label)
    text = (
        f"{smooth} against {sharp}: smoothed as by a moving mean of about {abs(width):.0f} s; short peaks come out lower, "
        "the work does not."
    )
    return [
        Finding(
            code="smoothing",
            label=seen.label,
            size=width,
            unit="s",
            ci=None,
            strength="likely",
            text=text,
            evidence=("A moving mean of that width turns the faster trace into the slower one best.",),
        )
    ]


def _lost(seen: Evidence) -> list[Finding]:
    found = []
    for code, lost, words in (
        ("dropouts", seen.dropouts, "no power recorded"),
        ("stuck", seen.stuck, "one value repeated"),
    ):
        if lost.seconds >= MIN_LOST_S:
            text = (
                f"{seen.label}: {words} for {lost.seconds} s in {lost.runs} {'stretch' if lost.runs == 1 else 'stretches'} while "
                f"the others show that power was made, first at {clock(lost.first_s or 0.0)}."
            )
            found.append(
                Finding(
                    code=code,
                    label=seen.label,
                    size=float(lost.seconds),
                    unit="s",
                    ci=None,
                    strength="clear",
                    text=text,
                    evidence=("These seconds are left out of every delta, not counted as zero.",),
                )
            )
    return found


def _clock(trial: Trial, seen: Evidence) -> list[Finding]:
    a = seen.alignment
    if not a.settled or a.via in ("manual", "clock"):
        return []
    parts, size, unit, ci = [], a.shift_s, "s", None
    if abs(a.shift_s) >= MIN_CLOCK_S:
        # a shift that must be added means that the clock was behind
        parts.append(f"stood {abs(a.shift_s):.1f} s {'behind' if a.shift_s > 0 else 'ahead of'} that of {trial.reference}")
        if a.shift_se_s is not None:
            ci = (a.shift_s - 1.96 * a.shift_se_s, a.shift_s + 1.96 * a.shift_se_s)
    if a.drift_applied:
        parts.append(f"ran {abs(a.drift_ppm):.0f} ppm {'slow' if a.drift_ppm > 0 else 'fast'}")
        if len(parts) == 1:
            size, unit = a.drift_ppm, "ppm"
    if not parts:
        return []
    text = f"{seen.label}: the recording's clock {' and '.join(parts)}; this has been corrected."
    return [
        Finding(
            code="clock",
            label=seen.label,
            size=size,
            unit=unit,
            ci=ci,
            strength="clear",
            text=text,
            evidence=(f"Found by matching {a.via.replace('_', ' ')} (correlation {a.correlation:.3f}).",)
            if a.correlation
            else (),
        )
    ]


def _nothing(trial: Trial, seen: Evidence) -> Finding:
    held = held_of(seen)
    if held is None or held.delta_pct is None or held.delta_pct_ci is None:
        return Finding(
            code="none",
            label=seen.label,
            size=0.0,
            unit="%",
            ci=None,
            strength="likely",
            text=f"{seen.label}: too little power in common with {trial.reference} to say anything of a difference.",
        )
    low, high = held.delta_pct_ci
    if held.verdict == "unsettled":
        text = (
            f"No cause stands out for {seen.label}: {signed(held.delta_pct)} % ({signed(low)} to {signed(high)} %) against an "
            f"allowance of {_band(held)}; this trial cannot tell more."
        )
        return Finding(code="none", label=seen.label, size=held.delta_pct, unit="%", ci=(low, high), strength="likely", text=text)
    text = (
        f"Nothing to explain for {seen.label}: {signed(held.delta_pct)} % ({signed(low)} to {signed(high)} %) lies within the "
        f"{_band(held)} that claims and drivetrain loss explain, and nothing the ride varied changes it."
    )
    return Finding(code="none", label=seen.label, size=held.delta_pct, unit="%", ci=(low, high), strength="clear", text=text)


def clock(seconds: float) -> str:
    """Elapsed time as h:mm:ss, or m:ss under an hour."""
    sign, total = ("−" if seconds < 0 else ""), int(abs(round(seconds)))
    hours, rest = divmod(total, 3600)
    return f"{sign}{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{sign}{rest // 60}:{rest % 60:02d}"


def _band(delta: JudgedDelta) -> str:
    return f"{signed(delta.allowance_pct[0])} to {signed(delta.allowance_pct[1])} %"


def _number(value: float) -> str:
    digits = 1 if abs(value) >= 1 else 2
    text = f"{abs(value):.{digits}f}"
    return text if float(text) == 0 else f"{'+' if value > 0 else '−'}{text}"
