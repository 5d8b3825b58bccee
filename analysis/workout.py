"""A ride plan as the bytes of a FIT workout, for head units and trainers; no rider, no serial number, no place.

Power targets after the public FIT profile: values above 1000 are watts plus 1000, values below are a share of a threshold.
"""

from __future__ import annotations

import itertools

from fit_tool.fit_file_builder import FitFileBuilder
from fit_tool.profile.messages.file_id_message import FileIdMessage
from fit_tool.profile.messages.workout_message import WorkoutMessage
from fit_tool.profile.messages.workout_step_message import WorkoutStepMessage
from fit_tool.profile.profile_type import FileType, Intensity, Manufacturer, Sport, WorkoutStepDuration, WorkoutStepTarget

from analysis.designing import Design, Exercise, steps_of
from analysis.sync_pattern import PATTERN

WATTS_FROM = 1000
# Devices beep outside a band; a held level in our sense stays well inside this one. Common practice, no source.
BAND_FRAC, BAND_RPM = 0.04, 3
# Characters that head units show of a step's and a workout's name; longer ones are cut. Common practice, no source.
STEP_NAME, WORKOUT_NAME = 15, 24
INTENSITY = {"hold": Intensity.ACTIVE, "surge": Intensity.ACTIVE, "sprint": Intensity.ACTIVE, "sync": Intensity.ACTIVE}


def workout_bytes(design: Design, *, created_s: int) -> bytes:
    """The plan as a FIT workout file, step by step without repeats, so that each keeps its own name.

    created_s : when the plan was made. [Unix s]

    Raises
    ------
    BadSetup
        As `designing.steps_of`.
    """
    builder = FitFileBuilder(auto_define=True, min_string_size=STEP_NAME + 1)
    builder.add(_file_id(created_s))
    steps = [message for step in steps_of(design) for message in _parts(step)]
    workout = WorkoutMessage()
    workout.workout_name = design.title[:WORKOUT_NAME]
    workout.sport = Sport.CYCLING
    workout.num_valid_steps = len(steps)
    builder.add(workout)
    for index, step in enumerate(steps):
        step.message_index = index
        builder.add(step)
    return builder.build().to_bytes()


def _file_id(created_s: int) -> FileIdMessage:
    message = FileIdMessage()
    message.type = FileType.WORKOUT
    message.manufacturer = Manufacturer.DEVELOPMENT.value  # the profile's own entry for whoever has none
    message.product = 0
    message.time_created = created_s * 1000
    return message


def _parts(step: Exercise) -> list[WorkoutStepMessage]:
    """One message; the sync pattern becomes its efforts and rests, which a rider could not count alone."""
    if step.exercise != "sync":
        return [_message(step.name, step.duration_s, step)]
    edges = [0, *(i for i in range(1, PATTERN.size) if PATTERN[i] != PATTERN[i - 1]), PATTERN.size]
    return [
        _message("sync hard" if PATTERN[a] > 0 else "sync still", float(b - a), None, rest=PATTERN[a] < 0)
        for a, b in itertools.pairwise(edges)
    ]


def _message(name: str, duration_s: float, step: Exercise | None, *, rest: bool = False) -> WorkoutStepMessage:
    message = WorkoutStepMessage()
    message.workout_step_name = name[:STEP_NAME]
    message.duration_type = WorkoutStepDuration.TIME
    message.duration_time = duration_s
    easy = rest or (step is not None and step.exercise not in INTENSITY)
    message.intensity = Intensity.REST if easy else Intensity.ACTIVE
    if step is not None and step.target_w:
        message.target_type = WorkoutStepTarget.POWER
        message.target_value = 0  # a custom range, not a zone
        message.custom_target_power_low = round(step.target_w * (1 - BAND_FRAC)) + WATTS_FROM
        message.custom_target_power_high = round(step.target_w * (1 + BAND_FRAC)) + WATTS_FROM
        if step.cadence_rpm:
            message.secondary_target_type = WorkoutStepTarget.CADENCE
            message.secondary_target_value = 0
            message.secondary_custom_target_cadence_low = round(step.cadence_rpm) - BAND_RPM
            message.secondary_custom_target_cadence_high = round(step.cadence_rpm) + BAND_RPM
    elif step is not None and step.cadence_rpm:
        message.target_type = WorkoutStepTarget.CADENCE
        message.target_value = 0
        message.custom_target_cadence_low = round(step.cadence_rpm) - BAND_RPM
        message.custom_target_cadence_high = round(step.cadence_rpm) + BAND_RPM
    else:
        message.target_type = WorkoutStepTarget.OPEN
    return message
