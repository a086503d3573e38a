"""What a characteristic is, drawn small from invented shapes: for reading, to no scale, and never from readings.

The curve that is measured bears the colour of measured curves; what the characteristic is of it stands in another.
"""

from __future__ import annotations

import numpy as np

from valvelab.figures import meaning_engine, meaning_form, meaning_lobe, meaning_spring
from valvelab.figures.description import Axis, Band, Curve, Figure, Marks
from valvelab.figures.sketch import Sketch

PICTURES = {
    (subject, name): made
    for room in (meaning_lobe, meaning_spring, meaning_form, meaning_engine)
    for subject, table in room.PICTURES.items()
    for name, made in table.items()
}
"""By subject and name of a characteristic, what draws it."""


def meaning_figure(subject: str, name: str) -> Figure | None:
    """What a characteristic of a subject is of an invented part; None where a picture would say no more than words.

    Axes bear names of places in place of figures, so that nothing reads as a value.
    """
    made = PICTURES.get((subject, name))
    if made is None:
        return None
    sketch = made()
    x = Axis(sketch.along, "", _room(sketch), names=sketch.places or ((0.0, " "),))
    return Figure(
        "meaning",
        sketch.up,
        x,
        Axis(sketch.up, ""),
        sketch.curves,
        sketch.bands,
        sketch.marks,
        sketch.guides,
        equal_scale=sketch.round,
        axes="none" if sketch.round else "x",
    )


def _room(sketch: Sketch) -> tuple[float, float] | None:
    """The ends of what is drawn along x, with some room beside them; None where both axes have one scale."""
    if sketch.round:
        return None
    drawn: tuple[Curve | Band | Marks, ...] = (*sketch.curves, *sketch.bands, *sketch.marks)
    places = np.concatenate([one.x for one in drawn])
    room = 0.04 * float(np.ptp(places))
    return float(places.min()) - room, float(places.max()) + room
