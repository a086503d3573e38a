"""A measured spring taken into a train."""

from __future__ import annotations

from dataclasses import replace

from valvelab.inspection.engine.train import TrainSetting
from valvelab.records.result import Note, info
from valvelab.records.springs_result import SpringResult


def train_with_spring(
    train: TrainSetting, spring: SpringResult, installed_height_mm: float | None = None
) -> tuple[TrainSetting, tuple[Note, ...]]:
    """The train with a measured spring's seat force, rate, surge and travel to coil bind where they were derived.

    The travel needs the installed height it was measured for. What the spring lacks stays as the train states it.
    """
    travel = train.bind_travel_mm
    if installed_height_mm is not None and spring.solid_height_mm is not None:
        travel = installed_height_mm - spring.solid_height_mm
    taken = {
        "seat force": spring.seat_force_n,
        "rate": spring.rate_n_per_mm,
        "surge": spring.surge_hz,
    }
    setting = replace(
        train,
        seat_force_n=train.seat_force_n if spring.seat_force_n is None else spring.seat_force_n,
        rate_n_per_mm=train.rate_n_per_mm if spring.rate_n_per_mm is None else spring.rate_n_per_mm,
        surge_hz=train.surge_hz if spring.surge_hz is None else spring.surge_hz,
        bind_travel_mm=travel,
    )
    names = [name for name, value in taken.items() if value is not None]
    missing = [name for name, value in taken.items() if value is None]
    notes = []
    if names:
        notes.append(info("spring", f"{', '.join(names)} of the measured spring {spring.spring}"))
    if missing:
        notes.append(info("spring", f"{', '.join(missing)} of spring {spring.spring} not derived: as the train states"))
    return setting, tuple(notes)
