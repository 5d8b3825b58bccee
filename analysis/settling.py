"""Whether a plan can settle a maker's claim between two devices: its chance scatter beside what claims and loss leave open.

Percent of the reference. The device is thought to read true, the reference and the loss to lie in the middle of what they may:
the best case; whatever is impossible there is impossible anywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from analysis.allowance import allowance_between
from analysis.designing import Aim
from analysis.forecast import Detectable, Noise, TrialsNeeded, trials_needed
from analysis.setup import UPSTREAM_OF_CHAIN

ONE_TRIAL, TRIALS, NEVER = "one trial", "several trials", "never"
# What else a reviewer may bring to where a claim cannot be settled: the loss of the chain measured, a reference that measures
# beside the device, one of twice the accuracy. Common practice, no source.
MEASURED, BESIDE, TIGHTER = "loss measured", "reference beside it", "reference twice as accurate"
MEASURED_LOSS_PCT = 0.5  # how closely a loss can be measured, plus and minus
WAYS = ((MEASURED,), (BESIDE,), (TIGHTER,), (MEASURED, TIGHTER), (BESIDE, TIGHTER))


@dataclass(frozen=True, kw_only=True)
class Settling:
    """Can it be shown that a device which reads true keeps its claim?

    answer : ONE_TRIAL (for the days of that trial), TRIALS, or NEVER; allowance_pct : what both claims and the loss explain;
    open_pct : half of what the reference's claim and the loss leave open by themselves; room_pct : what is left of the claim;
    trials : how many it takes to say so of the device from day to day, None where nothing is left;
    provable_pct : the device's own error that one trial finds outside its allowance with 80 % power.
    """

    answer: str
    allowance_pct: tuple[float, float]
    open_pct: float
    room_pct: float
    trials: TrialsNeeded | None
    provable_pct: float | None


def settling(held: Detectable, aim: Aim, noise: Noise) -> Settling:
    """What one ride of the plan, or several, can say of the aim's claim; `held` is the forecast of all held power."""
    places = {"reference_claim_pct": aim.reference_claim_pct, "loss_pct": aim.loss_pct}
    whole = allowance_between(aim.point, aim.reference_point, claim_pct=aim.claim_pct, **places).worst_pct
    alone = allowance_between(aim.point, aim.reference_point, claim_pct=0.0, **places).worst_pct
    open_pct = (alone[1] - alone[0]) / 2
    room_pct = aim.claim_pct - open_pct
    provable = None if held.smallest_pct is None else (whole[1] - whole[0]) / 2 + held.smallest_pct
    trials = None
    if room_pct > 0:
        spread = math.hypot(noise.trial_pct, held.error_pct)
        trials = trials_needed(0.0, spread, 1, (-room_pct, room_pct))
    answer = NEVER if trials is None or trials.in_all is None else TRIALS
    if held.half_width_pct is not None and held.half_width_pct < room_pct:
        answer = ONE_TRIAL
    return Settling(
        answer=answer, allowance_pct=whole, open_pct=open_pct, room_pct=room_pct, trials=trials, provable_pct=provable
    )


@dataclass(frozen=True, kw_only=True)
class WayOut:
    """Changes (of MEASURED, BESIDE, TIGHTER) with which the claim can be settled, the aim with them, what is found then."""

    changes: tuple[str, ...]
    aim: Aim
    found: Settling


def ways_out(held: Detectable, aim: Aim, noise: Noise) -> tuple[WayOut, ...]:
    """What would let the same plan settle a claim that it cannot: single changes, two at once where no single one does."""
    found: list[WayOut] = []
    for changes in WAYS:
        changed = _changed(aim, changes)
        if changed is None or (found and len(changes) > len(found[0].changes)):
            continue
        settled = settling(held, changed, noise)
        if settled.answer != NEVER:
            found.append(WayOut(changes=changes, aim=changed, found=settled))
    return tuple(found)


def _changed(aim: Aim, changes: tuple[str, ...]) -> Aim | None:
    """None where one of the changes would change nothing, as a measured loss does between two points before the chain."""
    stated = aim.point is not None and aim.reference_point is not None
    chain = stated and (aim.point in UPSTREAM_OF_CHAIN) != (aim.reference_point in UPSTREAM_OF_CHAIN)
    middle, half = sum(aim.loss_pct) / 2, (aim.loss_pct[1] - aim.loss_pct[0]) / 2
    if MEASURED in changes:
        if not chain or half <= MEASURED_LOSS_PCT:
            return None
        aim = replace(aim, loss_pct=(middle - MEASURED_LOSS_PCT, middle + MEASURED_LOSS_PCT))
    if BESIDE in changes:
        if not chain:
            return None
        aim = replace(aim, reference_point=aim.point)
    return replace(aim, reference_claim_pct=aim.reference_claim_pct / 2) if TIGHTER in changes else aim
