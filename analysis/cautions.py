"""The usual cautions, in general words; the maker's manual, local rules and qualified people always win."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Caution:
    """One caution and what it is about."""

    topic: str
    text: str


CAUTIONS = (
    Caution(
        topic="This result",
        text="It speaks of this unit, this firmware, this rig and these days, not of a model. The reference is a "
        "choice, not a truth: a difference belongs to both devices until a third one or a known mass says whose it "
        "is.",
    ),
    Caution(
        topic="Training",
        text="A device that reads a few percent differently moves every training zone with it; test again with the "
        "device you will ride rather than converting old figures by a factor.",
    ),
    Caution(
        topic="Pedals, cranks and torque",
        text="The left pedal axle has a left-hand thread. Check the side marks, start by hand, never force a crossed "
        "thread, and tighten to the torque in the maker's manual with a torque tool; re-tighten and zero again "
        "after the first ride. Stop at any creak or play and have a qualified mechanic look at it.",
    ),
    Caution(
        topic="Maximal efforts",
        text="Not for anyone who is unwell, injured, or has chest pain, faintness or unusual breathlessness; with a "
        "known heart, metabolic or kidney disease, with symptoms, or if not regularly active, ask a doctor first. "
        "Warm up, have someone nearby, stop on any symptom. Nothing here asks for a harder effort, and nothing "
        "here is medical advice.",
    ),
    Caution(
        topic="Trainers",
        text="A trainer that holds a set power pushes back harder as cadence falls and can stall or jolt the rider: "
        "ease in, keep cadence up, know how to release it. Check that bike and trainer stand fast; parts stay hot "
        "and moving after a sprint.",
    ),
    Caution(
        topic="Outdoors",
        text="Sprints and all-out steps belong on a closed or quiet course or indoors, never in traffic. Road law, "
        "lights and helmet rules apply. Do not read screens or start and stop recordings while moving in traffic.",
    ),
    Caution(
        topic="Batteries",
        text="Keep coin cells away from children and pets; a swallowed cell is an emergency, get medical help at once. "
        "Use the right type and polarity, tape and recycle spent cells, and charge packs only with the kind of "
        "charger the maker names.",
    ),
)
