"""From an inspected lift table to the lobes and defaults of a motion question."""

from __future__ import annotations

from typing import TYPE_CHECKING

from valvelab.inspection.engine.train import MotionLobe, MotionQuestion, TrainSetting
from valvelab.inspection.lobes.contour import curvature_guides
from valvelab.phasing.timing import lobe_kind
from valvelab.records.measurement import LiftTable

if TYPE_CHECKING:
    from valvelab.inspection.lobes.inspect import LobesInspection

CHECKING_LIFTS_MM = (0.15, 0.508, 1.0, 1.27, 5.08)


def motion_question(
    table: LiftTable,
    lobes: LobesInspection,
    train: TrainSetting,
    checking_lifts_mm: tuple[float, ...] = (),
    dynamics: bool = True,
) -> MotionQuestion:
    """A motion question on the lobes of an inspected lift table; extra checking lifts are added to the usual ones."""
    found = []
    guides = curvature_guides(lobes.groups)
    for row in lobes.result.lobes:
        profile = lobes.profiles.get(row.lobe)
        if profile is not None:
            found.append(
                MotionLobe(
                    name=row.lobe,
                    kind=lobe_kind(row.lobe),
                    profile=profile,
                    centre_cam_deg=row.centre_cam_deg,
                    lift_uncertainty_mm=row.uncertainty.get("max_lift_mm"),
                    encoder_cam_deg=table.encoder_uncertainty_cam_deg,
                    guide=guides[row.lobe],
                )
            )
    follower = table.follower
    return MotionQuestion(
        lobes=tuple(found),
        train=train,
        lift_at=table.lift_at,
        base_radius_mm=table.base_circle_radius_mm,
        roller_radius_mm=follower.radius_mm if follower is not None and follower.kind == "roller" else None,
        flat_follower=follower is not None and follower.kind == "flat",
        firing_order=table.firing_order,
        checking_lifts_mm=tuple(sorted({*CHECKING_LIFTS_MM, *checking_lifts_mm})),
        dynamics=dynamics,
        doubts=table.doubts,
    )
