"""Which simple cause explains a device's deltas: offset, drift, cadence, temperature, or only while power is held.

Block means in, one least-squares fit per hypothesis out; the hypotheses stand side by side on the same pieces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import stats

from analysis.blocks import Block
from analysis.traces import Floats
from analysis.trial import Trial

# Holds are cut into pieces of about this length, so that a long one can show a drift within itself.
PIECE_S = 90.0
MIN_PIECE_S = 20.0
# The tail of a surge reaches into the riding after it on a device that answers late; left out of free pieces at both ends. [s]
FREE_TRIMS_S = (7.0, 2.0)
MIN_PIECES = 5
# A cause is asserted when it passes this two-sided probability after correction for the causes tried, and moves the
# delta by at least this much of the reference's mean over the range that the ride covered. Common practice, no source.
MAX_P = 0.001
MIN_EFFECT_PCT = 1.0
MAX_CAUSES = 2
# A range shorter than this cannot carry a slope: cadence [rpm], temperature [deg C], time [h], left share.
MIN_RANGE = {"cadence": 10.0, "temperature": 3.0, "drift": 0.25, "single-sided": 0.015}


@dataclass(frozen=True, kw_only=True)
class Pieces:
    """Means over pieces of blocks, each shape (n,); `held` marks pieces of steady blocks."""

    delta_w: Floats
    reference_w: Floats
    hour: Floats
    cadence_rpm: Floats
    temperature_degc: Floats
    left_share_frac: Floats
    held: np.ndarray
    seconds: Floats


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One cause the deltas need, beside a constant ratio.

    size in `unit` with its 95 % interval; `effect_pct` is how far it moves the delta over the ride's own range, percent of
    the reference's mean; `explained_frac` the share of the deltas' squared departure from a constant ratio it takes away.
    """

    code: str
    size: float
    unit: str
    ci: tuple[float, float]
    t: float
    effect_pct: float
    explained_frac: float
    low_at: float
    high_at: float
    low_delta_pct: float
    high_delta_pct: float
    p: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """One hypothesis beside the others: what it explains alone, and what is left for it beside the causes asserted.

    key : which column, finer than the code ("drift" in percent or "drift_w" in watts an hour). beside_t : its t once the
    asserted causes are in the fit; None for an asserted one. cause is None where the ride cannot test it; `why_not` says so.
    """

    key: str
    code: str
    cause: Cause | None
    asserted: bool
    beside_t: float | None
    why_not: str


def pieces_of(trial: Trial, label: str, blocks: Sequence[Block], *, piece_s: float = PIECE_S) -> Pieces:
    """Cut the interiors of held and freely ridden blocks into pieces and average both devices over their common time."""
    spans, held = [], []
    for block in blocks:
        if block.kind not in ("steady", "free"):
            continue
        trims = FREE_TRIMS_S if block.kind == "free" else (0.0, 0.0)
        first, last = block.interior_start_s + trims[0], block.interior_end_s - trims[1]
        if last - first < MIN_PIECE_S:
            continue
        n = max(round((last - first) / piece_s), 1)
        edges = np.linspace(first, last, n + 1)
        spans += list(pairwise(edges))
        held += [block.kind == "steady"] * n
    start, end = np.array(spans).T if spans else (np.empty(0), np.empty(0))
    covered, device_ws, reference_ws = trial.pair(label).totals(start, end)
    used = (covered >= MIN_PIECE_S) & (reference_ws > 20.0 * covered)
    covered, device_ws, reference_ws = covered[used], device_ws[used], reference_ws[used]
    middle = (start[used] + end[used]) / 2
    return Pieces(
        delta_w=(device_ws - reference_ws) / covered,
        reference_w=reference_ws / covered,
        hour=middle / 3600,
        cadence_rpm=_channel_means(trial, label, "cadence_rpm", start[used], end[used]),
        temperature_degc=_channel_means(trial, label, "temperature_degc", start[used], end[used]),
        left_share_frac=_left_share(trial, label, start[used], end[used]),
        held=np.array(held, bool)[used],
        seconds=covered,
    )


def _channel_means(trial: Trial, label: str, channel: str, start: Floats, end: Floats) -> Floats:
    """Mean of a channel per piece, from the device or else from the reference; NaN where neither carries it."""
    return _first_means(trial, (label, trial.reference), channel, start, end)


def _left_share(trial: Trial, label: str, start: Floats, end: Floats) -> Floats:
    """Left share per piece as another recording measured it, the reference's first; a doubling device knows no share."""
    return _first_means(trial, [one for one in trial.labels if one != label], "left_share_frac", start, end)


def _first_means(trial: Trial, sources: Sequence[str], channel: str, start: Floats, end: Floats) -> Floats:
    for source in sources:
        if channel not in trial.recording(source).channels:
            continue
        value = trial.per_second(source, channel)
        there = np.isfinite(value)
        if there.any():
            total = np.concatenate(([0.0], np.cumsum(np.where(there, value, 0.0))))
            count = np.concatenate(([0], np.cumsum(there)))
            a, b = (np.clip(np.rint(t - trial.start_s).astype(int), 0, value.size) for t in (start, end))
            n = count[b] - count[a]
            return np.divide(total[b] - total[a], n, out=np.full(n.size, np.nan), where=n > 0)
    return np.full(start.size, np.nan)


def find_causes(pieces: Pieces) -> tuple[Cause, ...]:
    """Add causes to a constant ratio one by one, the one that explains most first, while each is clearly needed.

    Weighted least squares, pieces weighted by the square root of their length so that long pieces do not rule; a cause
    stays when its t passes MAX_P / number of causes tried and its effect MIN_EFFECT_PCT.
    """
    return tuple(cause for _, cause in _chosen(pieces))


def weigh(pieces: Pieces) -> tuple[Weighed, ...]:
    """Every hypothesis side by side, the ones that the data need first, then by how much each explains alone."""
    columns, chosen = _columns(pieces), _chosen(pieces)
    asserted = {key for key, _ in chosen}
    taken = [columns[key] for key, _ in chosen]
    found = []
    for key, column in columns.items():
        alone = _fit(pieces, [column])
        if alone is None:
            continue
        beside = None if key in asserted or _same_cause(key, list(asserted)) else _fit(pieces, [*taken, column])
        cause = next((c for k, c in chosen if k == key), None) or _cause(key, alone, pieces, column)
        found.append(
            Weighed(
                key=key, code=_STATED[key][0], cause=cause, asserted=key in asserted, why_not="",
                beside_t=None if beside is None or not asserted else beside.t,
            )
        )  # fmt: skip
    found.sort(key=lambda w: (not w.asserted, -abs(w.cause.t) if w.cause else 0.0))
    untested = [key for key in _STATED if key not in columns and key not in ("drift_w", "torque")]
    return (*found, *(Weighed(key=k, code=_STATED[k][0], cause=None, asserted=False, beside_t=None, why_not=_WHY_NOT[k])
                      for k in untested))  # fmt: skip


def _chosen(pieces: Pieces) -> list[tuple[str, Cause]]:
    columns, found = _columns(pieces), []
    while len(found) < MAX_CAUSES:
        chosen = [key for key, _ in found]
        rest = {k: v for k, v in columns.items() if k not in chosen and not _same_cause(k, chosen)}
        fits = [(key, _fit(pieces, [*(columns[c] for c in chosen), column])) for key, column in rest.items()]
        fits = [(key, fit) for key, fit in fits if fit is not None and _plausible(key, fit)]
        if not fits:
            break
        key, fit = max(fits, key=lambda item: abs(item[1].t))
        cause = _cause(key, fit, pieces, columns[key])
        if fit.p * len(rest) > MAX_P or cause.effect_pct < MIN_EFFECT_PCT:
            break
        found.append((key, cause))
    return found


def _plausible(key: str, fit: _Fit) -> bool:
    """A doubled side follows the share by exactly one for one; any other slope is another cause."""
    half = float(stats.t.ppf(0.975, fit.dof)) * fit.se
    return key != "single-sided" or abs(abs(fit.size) - 1) <= half


def _same_cause(code: str, chosen: list[str]) -> bool:
    # time and temperature rise together in most trials; one stands for both
    # and so do a watt and a newton metre where cadence hardly varies
    groups = ({"drift", "drift_w", "temperature"}, {"offset", "torque"})
    return any({code, c} <= group for c in chosen for group in groups)


def _columns(p: Pieces) -> dict[str, Floats]:
    """Each hypothesis as the watts that one unit of it adds to every piece; none where the pieces are too few for any."""
    if p.delta_w.size < MIN_PIECES:
        return {}
    columns = {"offset": np.ones(p.delta_w.size)}
    if np.ptp(p.hour) >= MIN_RANGE["drift"]:
        columns["drift"] = p.reference_w * (p.hour - p.hour.mean())
        columns["drift_w"] = p.hour - p.hour.mean()
    for code, channel in (("cadence", p.cadence_rpm), ("temperature", p.temperature_degc)):
        if np.isfinite(channel).all() and np.ptp(channel) >= MIN_RANGE[code]:
            columns[code] = p.reference_w * (channel - channel.mean())
    if "cadence" in columns:
        columns["torque"] = 2 * np.pi * p.cadence_rpm / 60
    if np.isfinite(p.left_share_frac).all() and p.delta_w.size and np.ptp(p.left_share_frac) >= MIN_RANGE["single-sided"]:
        columns["single-sided"] = 2 * p.reference_w * (p.left_share_frac - p.left_share_frac.mean())
    if 3 <= p.held.sum() <= p.held.size - 3:
        columns["steady-bias"] = p.reference_w * p.held
    if np.ptp(p.reference_w) < 0.25 * p.reference_w.mean():
        del columns["offset"]  # one level cannot tell an offset from a gain
        columns.pop("torque", None)
    return columns


@dataclass(frozen=True, kw_only=True)
class _Fit:
    size: float
    se: float
    t: float
    p: float
    dof: int
    explained_frac: float


def _fit(p: Pieces, columns: list[Floats]) -> _Fit | None:
    """Constant ratio plus the columns; figures for the last column, compared with the same fit without it."""
    weight = np.sqrt(p.seconds / p.seconds.mean()) / np.sqrt(p.reference_w / p.reference_w.mean())
    design = np.column_stack((p.reference_w, *columns)) * weight[:, None]
    y = p.delta_w * weight
    n, k = design.shape
    if n < max(MIN_PIECES, k + 3) or np.linalg.matrix_rank(design) < k:
        return None
    inverse = np.linalg.inv(design.T @ design)
    beta = inverse @ design.T @ y
    rest = y - design @ beta
    before, *_ = np.linalg.lstsq(design[:, :-1], y, rcond=None)
    rest_before = y - design[:, :-1] @ before
    se = float(np.sqrt(max(rest @ rest, 1e-12) / (n - k) * inverse[-1, -1]))
    t = float(beta[-1]) / se
    return _Fit(
        size=float(beta[-1]),
        se=se,
        t=t,
        p=float(2 * stats.t.sf(abs(t), n - k)),
        dof=n - k,
        explained_frac=1 - float(rest @ rest) / max(float(rest_before @ rest_before), 1e-12),
    )


# How a fitted size is stated: name, unit, factor from the fit's own unit, and whether it scales with power.
_STATED = {
    "offset": ("offset", "W", 1.0), "drift": ("drift", "%/h", 100.0), "drift_w": ("drift", "W/h", 1.0),
    "cadence": ("cadence", "%/rpm", 100.0), "temperature": ("temperature", "%/degC", 100.0),
    "steady-bias": ("steady-bias", "%", 100.0), "torque": ("offset", "N·m", 1.0),
    "single-sided": ("single-sided", "% per % of left share beyond half, doubled", 1.0),
}  # fmt: skip
_WHY_NOT = {
    "offset": "Power was too much alike throughout to tell an offset from a ratio.",
    "drift": f"The pieces span less than {60 * MIN_RANGE['drift']:.0f} minutes.",
    "cadence": f"No cadence was recorded throughout, or it varied by less than {MIN_RANGE['cadence']:.0f} rpm.",
    "temperature": f"No temperature was recorded throughout, or it varied by less than {MIN_RANGE['temperature']:.0f} °C.",
    "steady-bias": "There are too few pieces of held power, or of free riding, to hold one against the other.",
    "single-sided": "No other recording measured the left share throughout, or it hardly varied.",
}


def _cause(code: str, fit: _Fit, p: Pieces, column: Floats) -> Cause:
    name, unit, factor = _STATED[code]
    half = float(stats.t.ppf(0.975, fit.dof)) * fit.se
    share = 100 * fit.size * column / p.reference_w
    axis = {"drift": p.hour, "drift_w": p.hour, "cadence": p.cadence_rpm, "temperature": p.temperature_degc,
            "offset": p.reference_w, "steady-bias": p.held.astype(float), "torque": p.cadence_rpm,
            "single-sided": p.left_share_frac}[code]  # fmt: skip
    low, high = int(np.argmin(axis)), int(np.argmax(axis))
    mean_pct = 100 * float(p.delta_w.sum() / p.reference_w.sum())
    centre = float(np.average(share, weights=p.seconds))
    return Cause(
        code=name, size=factor * fit.size, unit=unit, ci=(factor * (fit.size - half), factor * (fit.size + half)), t=fit.t,
        effect_pct=float(np.ptp(share)), explained_frac=fit.explained_frac, low_at=float(axis[low]), high_at=float(axis[high]),
        low_delta_pct=mean_pct + float(share[low]) - centre, high_delta_pct=mean_pct + float(share[high]) - centre,
        p=fit.p,
    )  # fmt: skip
