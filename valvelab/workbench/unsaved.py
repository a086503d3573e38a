"""What was typed at a bay and stands in no file yet."""

from __future__ import annotations

from valvelab.workbench.document import Document
from valvelab.workbench.motion_files import MotionState
from valvelab.workbench.phasing_bay import PhasingState


def unsaved(document: Document) -> bool:
    """Whether a degree-wheel sheet or readings at a retainer were typed that no file holds."""
    return bool(document.state(PhasingState).sheets or document.state(MotionState).readings)
