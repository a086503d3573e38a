"""The tour of the window: what each step points at and says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Target = Literal["open", "headline", "verdicts", "certificate", "save_job", "help"]


@dataclass(frozen=True, slots=True)
class Step:
    """One step; `target` names the control that it points at."""

    target: Target
    head: str
    text: str


STEPS = (
    Step("open", "Open", "Drop files anywhere on the window, or open them here: readings, and a spec with the limits "
         "to judge by. For the tour a sample is put on the bench."),
    Step("headline", "Judged", "What lies on the bench is inspected at once. The headline is the answer: what is "
         "rejected, by how much, and against what. Limits… (Ctrl+J) writes limits of your own."),
    Step("verdicts", "The worst place", "Every verdict is a row, the gravest first. A row that is chosen shows its "
         "place on the curves above, and a place clicked there its row. F3 says what the characteristic means."),
    Step("certificate", "On paper", "Save certificate writes the PDF, Print… (Ctrl+P) shows and prints it. It carries "
         "the readings, so whoever has it can have it computed again."),
    Step("save_job", "Kept", "Save job keeps the whole bench in one file. Keep in the records (Ctrl+K, menu Job) "
         "files what was found for the years to come."),
    Step("help", "And then", "The guide (Ctrl+F1) leads through whole pieces of work, F1 lists every key, F2 the "
         "cautions. This tour stands in this menu."),
)  # fmt: skip
"""In the order in which they are shown, which says them."""
