"""Whether a plan can settle a maker's claim between two devices: its chance scatter beside what claims and loss leave open.

Percent of the reference. The device is thought to read true, the reference and the loss to lie in the middle of what they may:
the best case; whatever is impossible there is impossible anywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.allowance import allowance_between
from analysis.designing import Aim
from analysis.forecast import Detectable, Noise, TrialsNeeded, trials_needed

ONE_TRIAL, TRIALS, NEVER = "one trial", "several trials", "never"


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
