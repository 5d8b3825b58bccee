"""The ride plan that a reviewer may start from: indoors, one rider, under two hours, and the core of it in about one.

Common practice, no source. Targets are shares of the rider's one-hour power; sprints and one-legged riding have none.
"""

from __future__ import annotations

from analysis.designing import AIM_PARTS, Aim, Design, Exercise, Part
from analysis.setup import DEFAULT_CLAIM_PCT, DEFAULT_LOSS_PCT
from analysis.sync_pattern import PATTERN

# What reviewers have most often: pedals beside a direct-drive trainer, whose makers claim from 1 to 2 %. Common practice, no
# source; every part of it counts as assumed until it is chosen.
USUAL_AIM = Aim(
    claim_pct=DEFAULT_CLAIM_PCT, reference_claim_pct=1.0, point="pedal", reference_point="trainer", loss_pct=DEFAULT_LOSS_PCT,
    assumed=AIM_PARTS,
)  # fmt: skip

LEVELS = (0.40, 0.55, 0.70, 0.85, 1.00)
CADENCES_RPM = (60.0, 75.0, 90.0, 105.0)
HOLD_S, CADENCE_S, EASY_S = 180.0, 120.0, 60.0


def default_design(hour_w: float | None = None) -> Design:
    """The whole plan. Levels and cadences go there and back, so that a trend with time cannot pass for one with either."""
    parts = (
        *_opening(),
        Part(name="levels", steps=_levels(), repeats=2, order="there and back"),
        Part(name="cadences", steps=_cadences(), repeats=2, order="there and back"),
        Part(name="positions", steps=_positions(), repeats=3, order="there and back"),
        Part(name="surges", steps=_surge(), repeats=6),
        Part(name="sprints", steps=_sprints(), repeats=2),
        Part(name="low power", steps=(Exercise(name="hold 70 W", duration_s=120.0, target_w=70.0),)),
        Part(name="coasting", steps=(Exercise(name="coast", duration_s=20.0, exercise="coast"), _easy(30.0)), repeats=3),
        Part(name="one leg", steps=_one_leg(), repeats=2),
        *_closing(),
    )
    return Design(title="Trial of power devices, indoors", parts=parts, hour_w=hour_w, aim=USUAL_AIM)


def core_design(hour_w: float | None = None) -> Design:
    """What is left where time is short. Levels go up only, so it cannot tell a trend with time from one with level."""
    parts = (
        *_opening(),
        Part(name="levels", steps=_levels()),
        Part(name="cadences", steps=_cadences()),
        Part(name="surges", steps=_surge(), repeats=6),
        Part(name="sprints", steps=_sprints()),
        *_closing(),
    )
    return Design(title="Trial of power devices, core", parts=parts, hour_w=hour_w, aim=USUAL_AIM)


def _opening() -> tuple[Part, ...]:
    """Warming up gives data on drift and no part of a verdict; the zeros before and after tell how far it moved."""
    warm_up = Exercise(name="warm-up", duration_s=900.0, hour_share=0.55)
    return (
        Part(name="before the start", steps=(_zero("zero, note the value"),)),
        Part(name="opening sync", steps=(_easy(30.0), _sync(), _easy(30.0))),
        Part(name="warm-up", steps=(warm_up, _zero("zero again, note the value"))),
    )


def _levels() -> tuple[Exercise, ...]:
    return tuple(
        step
        for share in LEVELS
        for step in (Exercise(name=f"hold {share:.0%}", duration_s=HOLD_S, hour_share=share, cadence_rpm=88.0), _easy(EASY_S))
    )


def _cadences() -> tuple[Exercise, ...]:
    return tuple(
        Exercise(name=f"{rpm:.0f} rpm", duration_s=CADENCE_S, hour_share=0.65, cadence_rpm=rpm) for rpm in CADENCES_RPM
    )


def _positions() -> tuple[Exercise, ...]:
    return tuple(
        Exercise(name=f"{position} hold", duration_s=60.0, hour_share=0.70, cadence_rpm=65.0, position=position)
        for position in ("seated", "standing")
    )


def _surge() -> tuple[Exercise, ...]:
    """On and off alike, the power kept by the rider: a trainer that holds it would hide what the devices make of it."""
    return Exercise(name="surge", duration_s=15.0, exercise="surge", hour_share=1.3), Exercise(
        name="off", duration_s=15.0, exercise="easy", hour_share=0.4
    )


def _sprints() -> tuple[Exercise, ...]:
    """The same power from much torque and from much speed, with three minutes to recover."""
    slow = Exercise(name="sprint, heavy gear", duration_s=10.0, exercise="sprint", cadence_rpm=70.0)
    fast = Exercise(name="sprint, light gear", duration_s=10.0, exercise="sprint", cadence_rpm=115.0)
    return slow, _easy(180.0), fast, _easy(180.0)


def _one_leg() -> tuple[Exercise, ...]:
    return tuple(
        step
        for leg in ("left", "right")
        for step in (Exercise(name=f"{leg} leg alone", duration_s=30.0, exercise="easy"), _easy(15.0))
    )


def _closing() -> tuple[Part, ...]:
    first_again = Exercise(name="first level again", duration_s=HOLD_S, hour_share=LEVELS[0], cadence_rpm=88.0)
    return (Part(name="closing", steps=(first_again, _easy(EASY_S), _sync(), _easy(30.0), _zero("zero, note the value"))),)


def _easy(duration_s: float) -> Exercise:
    return Exercise(name="easy", duration_s=duration_s, exercise="easy")


def _sync() -> Exercise:
    return Exercise(name="sync pattern", duration_s=float(PATTERN.size), exercise="sync")


def _zero(name: str) -> Exercise:
    return Exercise(name=name, duration_s=60.0, exercise="zero")
