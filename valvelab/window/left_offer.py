"""Benches that an unclean end left behind: offered one at a time, each until a person decides."""

from __future__ import annotations

from collections.abc import Callable

from valvelab.errors import CannotWrite
from valvelab.language import say
from valvelab.window.bench import Bench
from valvelab.window.pages import OfferStrip
from valvelab.workbench import recovery
from valvelab.workbench.document import Problem
from valvelab.workbench.unsaved import unsaved


class LeftOffer:
    """Asks about the longest-lying bench in a strip; `tell(problem)` says what can't be read."""

    def __init__(self, bench: Bench, strip: OfferStrip, tell: Callable[[Problem], None]) -> None:
        self._bench, self._strip, self._tell = bench, strip, tell
        self._left: recovery.LeftBench | None = None
        strip.taken.connect(self._on_taken)
        strip.refused.connect(self._on_refused)

    def ask(self) -> None:
        """Claim the next bench that was left and offer it; without one the strip stays away."""
        try:
            self._left, said = recovery.claim(self._bench.place, self._bench.kept_beside)
        except CannotWrite as error:
            self._left, said = None, (str(error),)
        for sentence in said:
            self._tell(Problem("error", "recovery", sentence))
        if self._left is not None:
            tip = say("It is not offered again, and its file is removed")
            self._strip.ask(_question(self._left), say("Bring it back"), say("Leave it"), tip)

    def close(self) -> None:
        """The window goes: what is not decided stays for the next one."""
        if self._left is not None:
            self._left.leave()
            self._left = None

    def _on_taken(self) -> None:
        if self._left is not None:
            self._bench.bring_back(self._left)
            self.ask()

    def _on_refused(self) -> None:
        if self._left is not None:
            self._left.remove()
            self.ask()


def _question(left: recovery.LeftBench) -> str:
    names = ", ".join(file.name for file in left.document.files)
    if unsaved(left.document):
        return say("An earlier run left readings that no file holds") + (
            say(", on a bench with {names}.").format(names=names) if names else "."
        )
    return say("An earlier run did not end cleanly. Its bench held {names}.").format(names=names)
