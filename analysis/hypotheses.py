"""Every simple cause of a device's difference side by side: what speaks for it, what against, and what would settle it.

Reads the weighed causes, the delta, the response and the losses; gives sentences with the numbers they rest on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.causes import MAX_P, MIN_EFFECT_PCT, Weighed
from analysis.judging import JudgedDelta
from analysis.numerals import plain
from analysis.response import Response
from analysis.verdict import signed

Row = dict[str, Any]

SETTLE = {
    "gain": "Add a third device or a known mass on the crank: two devices cannot tell whose ratio is off.",
    "offset": "Ride 4 more holds: two at 100 to 150 W and two at 250 W or more, at one cadence.",
    "torque": "Ride 4 more holds at one power and two cadences 30 rpm apart: a torque error grows in watts with cadence.",
    "steady-bias": "Ride 10 more minutes freely, with surges and coasting, at the mean power of the holds.",
    "drift": "Repeat the first hold's level at the end, then zero both devices and repeat it once more.",
    "temperature": "Repeat the holds at a constant temperature, or ride the same time in the cold and in the warm.",
    "cadence": "Ride 4 more holds at one power and two cadences 30 rpm apart.",
    "single-sided": "Record with a device that measures both sides; pedal 4 holds on purpose with more left, then more right.",
    "lag": "Ride 6 more surges, with heart rate or cadence from one shared sensor in both recordings.",
    "smoothing": "Ride 4 more sprints of 10 s from low power.",
    "dropouts": "Repeat with the recorder nearer to the sensor, and let a second recorder hear the same sensor.",
}
# A hypothesis that takes away less than this has nothing to say for itself.
MIN_SHARE_TO_TELL = 0.1


@dataclass(frozen=True, kw_only=True)
class Hypothesis:
    """One cause held up against the data; size, ci, unit None where the ride cannot test it. rank 1 is the first of a device."""

    label: str
    code: str
    rank: int
    asserted: bool
    size: float | None
    unit: str | None
    ci: tuple[float, float] | None
    explained_frac: float | None
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]
    settle: str


def hypotheses_of(
    label: str,
    weighed: Sequence[Weighed],
    held: JudgedDelta | None,
    response: Response,
    lost_s: int,
    asserted: Sequence[str],
) -> tuple[Hypothesis, ...]:
    """Hypotheses of one device: the asserted first, in the order of its findings, then by how much each explains alone."""
    rows = [_gain(held, weighed, "gain" in asserted), *(_weighed(w) for w in _one_each(weighed))]
    rows += [_lag(response, "lag" in asserted), _smoothing(response, "smoothing" in asserted)]
    rows += [_lost(lost_s, "dropouts" in asserted)]

    def place(row: Row) -> tuple[int, float]:
        return (asserted.index(row["code"]) if row["asserted"] else len(asserted), -(row["explained_frac"] or 0.0))

    ordered = sorted(rows, key=place)
    return tuple(Hypothesis(label=label, rank=i + 1, **row) for i, row in enumerate(ordered))


def _one_each(weighed: Sequence[Weighed]) -> list[Weighed]:
    """Of the two forms of an offset or a drift the better one."""
    kept: dict[str, Weighed] = {}
    for one in weighed:
        kept.setdefault(one.code, one)
    return list(kept.values())


def _row(code: str, settle: str, **more: Any) -> Row:
    plain = {"asserted": False, "size": None, "unit": None, "ci": None, "explained_frac": None, "evidence_for": (),
             "evidence_against": ()}  # fmt: skip
    return {"code": code, "settle": SETTLE[settle], **plain, **more}


def _weighed(w: Weighed) -> Row:
    if w.cause is None:
        return _row(w.code, w.key, evidence_against=(f"Not tested: {w.why_not}",))
    c = w.cause
    pro = []
    if c.explained_frac > MIN_SHARE_TO_TELL:
        pro.append(
            f"Beside a constant ratio it takes away {100 * c.explained_frac:.0f} % of what is left unexplained "
            f"(t = {plain(c.t)})."
        )
    if c.effect_pct >= MIN_EFFECT_PCT:
        pro.append(f"Over the ride's own range it would move the difference by {c.effect_pct:.1f} points.")
    con = []
    if c.p > MAX_P:
        con.append(f"Alone it is no better than chance allows for (p = {c.p:.2g}, {MAX_P:g} needed before correction).")
    if c.effect_pct < MIN_EFFECT_PCT:
        con.append(
            f"Over the ride's own range it moves the difference by {_below(c.effect_pct)} points, less than {MIN_EFFECT_PCT:g}."
        )
    if w.beside_t is not None:
        con.append(f"Beside what is asserted, t = {plain(w.beside_t)} is left for it.")
    if not w.asserted and not con:
        con.append("Another cause of the same shape explains more.")
    if w.code in ("drift", "temperature"):
        con.append("Time and temperature rise together on most rides; one trial cannot tell which of them it is.")
    return _row(
        w.code, w.key if w.key in SETTLE else w.code, asserted=w.asserted, size=c.size, unit=c.unit, ci=c.ci,
        explained_frac=c.explained_frac, evidence_for=tuple(pro), evidence_against=tuple(con),
    )  # fmt: skip


def _gain(held: JudgedDelta | None, weighed: Sequence[Weighed], asserted: bool) -> Row:
    if held is None or held.delta_pct is None or held.delta_pct_ci is None:
        return _row("gain", "gain", evidence_against=("Not tested: too little power in common.",))
    low, high = held.delta_pct_ci
    band = f"{signed(held.allowance_pct[0])} to {signed(held.allowance_pct[1])} %"
    says = f"{signed(held.delta_pct)} % ({signed(low)} to {signed(high)} %) while claims and drivetrain loss allow {band}."
    moving = [w.code for w in weighed if w.asserted]
    con = [] if held.verdict == "outside" else [f"Not beyond what is allowed for: {says}"]
    con += [f"The ratio is not constant: {', '.join(moving)}."] if moving else []
    return _row(
        "gain", "gain", asserted=asserted, size=held.delta_pct, unit="%", ci=(low, high),
        evidence_for=(f"The difference is {says}",) if held.verdict == "outside" else (), evidence_against=tuple(con),
    )  # fmt: skip


def _lag(response: Response, asserted: bool) -> Row:
    if response.lag_s is None or response.lag_ci_s is None:
        return _row("lag", "lag", evidence_against=(f"Not tested: {response.note}",))
    low, high = response.lag_ci_s
    says = f"{plain(response.lag_s, 2)} s ({plain(low, 2)} to {plain(high, 2)} s) over {response.events} changes of power."
    return _row(
        "lag", "lag", asserted=asserted, size=response.lag_s, unit="s", ci=(low, high),
        evidence_for=(f"The delay is {says}",) if asserted else (),
        evidence_against=() if asserted else (f"The delay is below what one-second samples resolve, or may be none: {says}",),
    )  # fmt: skip


def _below(effect_pct: float) -> str:
    """With a second digit where one would read as the limit that it stays under."""
    return f"{effect_pct:.1f}" if round(effect_pct, 1) < MIN_EFFECT_PCT else f"{effect_pct:.2f}"


def _smoothing(response: Response, asserted: bool) -> Row:
    if response.smoothing_s is None:
        return _row("smoothing", "smoothing", evidence_against=("Not tested: too few clear changes of power.",))
    says = f"A moving mean of {abs(response.smoothing_s):.1f} s turns the faster trace into the slower one best."
    unresolved = f"{says} That is not resolved at 1 Hz." if response.smoothing_s else "No moving mean brings the traces closer."
    return _row(
        "smoothing", "smoothing", asserted=asserted, size=response.smoothing_s, unit="s",
        evidence_for=(says,) if asserted else (), evidence_against=() if asserted else (unresolved,),
    )  # fmt: skip


def _lost(lost_s: int, asserted: bool) -> Row:
    says = f"{lost_s} s without power while the others show that power was made."
    return _row(
        "dropouts", "dropouts", asserted=asserted, size=float(lost_s), unit="s", evidence_for=(says,) if asserted else (),
        evidence_against=() if asserted else (says,),
    )  # fmt: skip
