"""A table in doubt about its units: its columns are offered with the units that fit, until a person decides."""

from __future__ import annotations

from valvelab.language import say
from valvelab.window.bench import Bench
from valvelab.window.pages import OfferStrip
from valvelab.workbench.document import BenchFile, Document


class UnitOffer:
    """Asks in a strip about the first table that is in doubt; one that is left so is not asked about again."""

    def __init__(self, bench: Bench, strip: OfferStrip) -> None:
        self._bench, self._strip = bench, strip
        self._asked: BenchFile | None = None
        self._left: set[BenchFile] = set()
        strip.taken.connect(self._on_taken)
        strip.refused.connect(self._on_refused)

    def ask(self, document: Document) -> None:
        """Ask about the table in doubt that nobody decided on; without one the strip stays away."""
        found = next((one for one in in_doubt(document) if one[0] not in self._left), None)
        asked = None if found is None or document.columns_of else found[0]
        if asked is not None and found is not None and asked != self._asked:
            told = say(found[1][0])
            self._strip.ask(
                f"▲ {asked.name}: {told}",
                say("Choose the &units…"),
                say("&Leave it so"),
                say("What depends on it stays undecided"),
            )
        elif asked is None:
            self._strip.hide()
        self._asked = asked

    def _on_taken(self) -> None:
        if self._asked is not None:
            self._bench.ask_columns_again(self._asked.path)

    def _on_refused(self) -> None:
        if self._asked is not None:
            self._left.add(self._asked)
            self._asked = None


def in_doubt(document: Document) -> list[tuple[BenchFile, tuple[str, ...]]]:
    """The files whose tables are in doubt about a unit, and why; what was typed in the window states its own."""
    found = []
    for file in document.files:
        content = document.content(file)
        doubts = None if content is None or file.text is not None else getattr(content.value, "doubts", None)
        if told := tuple(getattr(doubts, "told", ())):
            found.append((file, told))
    return found
