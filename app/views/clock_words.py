"""An alignment in plain words: what state a clock is in, how peaked a match is, drift, lag. No dash; nothing is computed."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.wording import NOTHING, VIA_MEANS, clock_text, length, number, signed, span, unbroken, with_unit

FAR_AHEAD = 30.0  # lead in log-likelihood that needs no further thought; only how it is called, settling is the analysis'
AS_GOOD = 3.0  # odds of twenty to one: called "about as well" below it
SAME_SHIFT_S = 0.25  # two proposals closer than this are one to a person who looks
MOST_PROPOSALS = 6
_HYPHEN_MINUS = re.compile(r"(?<![\w-])-(?=\d)")
IN_WORDS_S = 120.0  # a longer shift is told in minutes and hours, too


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """A shift that the owner may try, and what speaks for it."""

    shift_s: float
    words: str


def state(entry: Mapping[str, Any]) -> str:
    """`settled`, `set by hand` or `not settled`."""
    return "not settled" if not entry["settled"] else "set by hand" if entry["via"] == "manual" else "settled"


def shift_words(entry: Mapping[str, Any]) -> str:
    """The shift with its error; one that is not settled is told as what it is, a try."""
    if not entry["settled"]:
        return f"{with_unit(signed(entry['shift_s'], 1), 's')}, only tried"
    error = entry["shift_se_s"]
    plain = signed(entry["shift_s"], 2) + ("" if error is None else f" ± {_error(error)}")
    long = f" ({length(abs(entry['shift_s']))})" if abs(entry["shift_s"]) >= IN_WORDS_S else ""
    return with_unit(plain, "s") + long


def found_words(entry: Mapping[str, Any]) -> str:
    """From which signals; for a shift by hand or a try, that."""
    if not entry["settled"]:
        return "nothing that is sure"
    used = [c["via"] for c in entry.get("candidates") or () if c.get("used")]
    vias = used if entry["via"] in used else [entry["via"]]
    if len(vias) == 1:
        return VIA_MEANS.get(vias[0], vias[0])
    return " and ".join(via.replace("_", " ") for via in vias)


def note_words(entry: Mapping[str, Any]) -> str:
    """The analysis' own remark, with true minus signs and with numbers and units held together; empty where it has none."""
    return unbroken(_HYPHEN_MINUS.sub("−", entry.get("note") or ""))


def drift_words(entry: Mapping[str, Any]) -> str:
    """Rate of the clock in ppm with its interval, and whether it was applied."""
    if entry.get("drift_se_ppm") is None and not entry.get("drift_applied"):
        return "not looked for" if entry["settled"] else "unknown while the shift is"
    limits = entry.get("drift_ci_ppm")
    between = f" (95 % interval {span(limits, 0)})" if limits else f" ± {number(entry['drift_se_ppm'], 0)}"
    done = "applied" if entry.get("drift_applied") else "not applied: it cannot be told from zero"
    return f"{with_unit(signed(entry['drift_ppm'], 0), 'ppm')}{between}, {done}"


def lag_words(response: Mapping[str, Any] | None) -> str:
    """The response lag that is left once the clocks agree, or why there is none."""
    if response is None:
        return "no jump of power from which to read it"
    if response["lag_s"] is None:
        return response.get("note") or NOTHING
    limits = f" (95 % interval {span(response['lag_ci_s'], 2)})"
    return with_unit(signed(response["lag_s"], 2), "s") + limits


def clocks_alone_words(entry: Mapping[str, Any]) -> str:
    """What a reader of the bare files would have assumed."""
    alone = entry.get("clock_shift_s")
    if alone is None:
        return "nothing: a clock has no date"
    said = with_unit(signed(alone, 1), "s")
    if not entry["settled"]:
        return said
    return f"{said}, off by {with_unit(number(abs(entry['shift_s'] - alone), 2), 's')}"


def peak_words(candidate: Mapping[str, Any]) -> str:
    """How far the best shift of a signal leads any other, in words and as a number."""
    lead = candidate.get("margin")
    if lead is None:
        return "held against no other"
    if candidate.get("settled"):
        words = "far ahead of any other shift" if lead >= FAR_AHEAD else "clearly ahead of any other shift"
    else:
        words = "another shift fits about as well" if lead < AS_GOOD else "ahead, but not enough to be sure"
    signal = VIA_MEANS.get(candidate["via"], candidate["via"])
    return f"{signal}: {words} (lead {number(lead, 0 if lead >= 10 else 1)})"


def stretches_words(entry: Mapping[str, Any]) -> str:
    """The shifts of a clock that stood still or leapt, stretch by stretch; empty where one shift serves."""
    return "; ".join(
        f"{'from the start' if p['start_s'] is None else 'from ' + clock_text(p['start_s'])}: "
        + with_unit(f"{signed(p['shift_s'], 2)} ± {_error(p['shift_se_s'])}", "s")
        for p in entry.get("pieces") or ()
    )


def is_matched(entry: Mapping[str, Any]) -> bool:
    """Whether any signal matched at all, be it at several shifts; peaks of noise are no proposals."""
    return entry["via"] != "clock"


def proposals(entry: Mapping[str, Any]) -> tuple[Proposal, ...]:
    """Shifts worth trying where none is settled, the one in use first; at most `MOST_PROPOSALS`."""
    found: list[tuple[float, list[str]]] = []
    for shift_s, words in _all_proposals(entry):
        same = next((known for at_s, known in found if abs(shift_s - at_s) <= SAME_SHIFT_S), None)
        if same is None:
            found.append((shift_s, [words]))
        else:
            same.append(words)
    return tuple(Proposal(shift_s=at_s, words="; ".join(words)) for at_s, words in found[:MOST_PROPOSALS])


def _all_proposals(entry: Mapping[str, Any]) -> Iterator[tuple[float, str]]:
    candidates: Sequence[Mapping[str, Any]] = (entry.get("candidates") or ()) if is_matched(entry) else ()
    yield entry["shift_s"], "in use now"
    for c in sorted(candidates, key=lambda c: -(c["correlation"] or 0.0)):
        yield c["shift_s"], f"best by {VIA_MEANS.get(c['via'], c['via'])}, correlation {number(c['correlation'], 2)}"
        for rival_s in c.get("rival_shifts_s") or ():
            yield rival_s, f"another peak of {VIA_MEANS.get(c['via'], c['via'])}"
    if entry.get("clock_shift_s") is not None:
        yield entry["clock_shift_s"], "the clocks alone"


def _error(error_s: float) -> str:
    """Two digits, and never less than the last one of them."""
    return number(max(error_s, 0.01), 2) if error_s > 0 else number(0.0, 2)
