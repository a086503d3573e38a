"""What was done at the bench and stands in no file yet."""

from __future__ import annotations

from valvelab.workbench.document import Document
from valvelab.workbench.motion_files import MotionState
from valvelab.workbench.phasing_bay import PhasingState
from valvelab.workbench.sets import SpringsState


def unsaved(document: Document) -> bool:
    """Whether readings were typed, or springs put into sets, that no file holds."""
    typed = document.state(PhasingState).sheets or document.state(MotionState).readings
    made = any(grouping.sets for grouping in document.state(SpringsState).groupings.values())
    return bool(typed or made or any(file.text is not None for file in document.files))
