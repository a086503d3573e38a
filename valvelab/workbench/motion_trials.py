"""Trials of the valve motion: other lash, ratio, phasing, seat force or spring, only looked at."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

from valvelab.dynamics.response import Tell
from valvelab.inspection.engine.motion import MotionInspection, inspect_motion
from valvelab.inspection.engine.sides import train_with_spring
from valvelab.language import say
from valvelab.records.measurement import COMPARISON_LIFT_MM
from valvelab.records.springs_result import SpringResult
from valvelab.records.train import RockerRecord, Train
from valvelab.workbench import lobes_bay, springs_bay
from valvelab.workbench.document import Document
from valvelab.workbench.motion_files import TRAIN, Motion, MotionState, Trial, chosen_valve
from valvelab.workbench.spec_choice import files_of, stamps

SWEEP = "motion, sweep"
"""The name that the dynamic model's answer is kept under."""
TRIAL_LIFT_MM = COMPARISON_LIFT_MM


def train_tried(motion: Motion, trial: Trial) -> Train:
    """The stated train with the trial's values in it."""
    train = motion.inspection.question.train
    spring = next((row for row in spring_rows(motion) if row.spring == trial.spring), None)
    if spring is not None and motion.springs is not None:
        train, _ = train_with_spring(train, spring, motion.springs.installed_height_mm)
    if trial.seat_force_n is not None:
        train = train.changed("spring", seat_force_n=trial.seat_force_n)
    if trial.lash_mm is not None:
        train = train.changed("lash", hot_mm=trial.lash_mm, cold_mm=trial.lash_mm)
    if trial.ratio is not None and train.rocker.one_ratio is not None:
        rocker = RockerRecord(ratio=trial.ratio, uncertainty=train.rocker.uncertainty)
        train = train.model_copy(update={"rocker": rocker})
    if trial.advance_deg:
        train = _advanced(train, trial.advance_deg)
    return train


def _advanced(train: Train, advance_deg: float) -> Train:
    if train.timing is None:
        return train
    intake, exhaust = train.timing.intake_centreline_deg, train.timing.exhaust_centreline_deg
    return train.changed(
        "timing",
        intake_centreline_deg=None if intake is None else intake - advance_deg,
        exhaust_centreline_deg=None if exhaust is None else exhaust + advance_deg,
    )


def spring_rows(motion: Motion) -> tuple[SpringResult, ...]:
    """Springs on the bench that have a seat force and a rate."""
    return () if motion.springs is None else motion.springs.rows


def can_try(motion: Motion) -> dict[str, str]:
    """Why something can't be tried, by its name; what can be tried is not in it."""
    question, train = motion.inspection.question, motion.inspection.question.train
    refused = {}
    if question.lift_at == "valve":
        refused["ratio"] = say("the lift was read at the valve: the rocker is already in it")
    elif train.rocker.one_ratio is None:
        refused["ratio"] = say("the rocker is measured by points or built from its geometry, not one ratio")
    if train.timing is None:
        refused["advance_deg"] = say("the train states no [timing] to move")
    if train.spring.seat_force_n is None:
        refused["seat_force_n"] = say("the train states no [spring] seat_force")
    return refused


@lru_cache(maxsize=4)
def tried(motion: Motion, trial: Trial, valves: tuple[str, ...]) -> MotionInspection:
    """Some valves behind the train as tried, without the dynamic model; milliseconds a valve."""
    question = motion.inspection.question
    lobes = tuple(lobe for name in valves for lobe in question.lobes if lobe.name == name)
    asked = replace(question, lobes=lobes, train=train_tried(motion, trial), checking_lifts_mm=(TRIAL_LIFT_MM,))
    return inspect_motion(replace(asked, dynamics=False))


def sweep_question(document: Document, motion: Motion) -> tuple[object, Callable[[Tell | None], MotionInspection]]:
    """The dynamic model for the valve in front as tried: a key, and the work that tells how far it has come."""
    trial, valve = document.state(MotionState).trial, chosen_valve(document, motion)
    files = (lobes_bay.table_in_use(document), document.in_use(TRAIN), springs_bay.table_in_use(document))
    read = stamps(document, *files_of(*files), lobes_bay.card_in_use(document))
    question = motion.inspection.question
    lobes = tuple(lobe for lobe in question.lobes if lobe.name == valve)
    asked = replace(question, lobes=lobes, train=train_tried(motion, trial), dynamics=True)

    def work(tell: Tell | None) -> MotionInspection:
        return inspect_motion(asked, tell=tell)

    return (read, valve, trial), work


def swept(document: Document, motion: Motion) -> MotionInspection | None:
    """The dynamic model's answer for the valve in front as tried; None while it was not run for just that."""
    key, _ = sweep_question(document, motion)
    known = document.answers.get(SWEEP)
    return known.value if known is not None and known.key == key else None
