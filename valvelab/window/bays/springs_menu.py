"""What can be done with chosen springs: decide whether they are used, tie them to one another, move them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import combinations

from PySide6.QtGui import QAction
from PySide6.QtWidgets import QMenu

from valvelab.errors import WrongUsage
from valvelab.language import say, say_many
from valvelab.quoting import names_in
from valvelab.units import System
from valvelab.window.bays.springs_wishes import AskLine
from valvelab.workbench import set_wishes, sets
from valvelab.workbench.set_wishes import NONE, Wishes
from valvelab.workbench.sets import Grouping, Wish
from valvelab.workbench.springs_bay import Usable

NOBODY = Usable({}, {}, {}, {}, NONE)
Decide = Callable[[Wishes, str], str]
"""Takes new wishes under a name for undo; gives the sentence that refuses them, or nothing."""


def called(springs: Sequence[str]) -> str:
    """Springs in a few words."""
    return ", ".join(springs) if len(springs) <= 3 else say_many("{count} spring", "{count} springs", len(springs))


class Decisions:
    """What a person decides of chosen springs: `stated` gives what was decided so far, `decide` takes what is new."""

    def __init__(self, ask: AskLine, stated: Callable[[], Wishes], decide: Decide) -> None:
        self.ask, self.stated, self.decide = ask, stated, decide
        self.usable = NOBODY

    def by_name(self, springs: Sequence[str], what: str) -> str:
        """Take in, leave out (both ask for the reason) or have judged again; the sentence that refuses it."""
        if what == "judged":
            return self.as_judged(springs)
        return self.take_in(springs) if what == "take" else self.leave_out(springs)

    def take_in(self, springs: Sequence[str]) -> str:
        """Ask why rejected springs are used all the same."""
        of = [name for name in springs if name in self.usable.rejected]
        if not of:
            return say("{called}: not rejected by the spec, so there is nothing to take in").format(
                called=called(springs)
            )
        why = say(" (rejected for {what})").format(what=self.usable.rejected[of[0]]) if len(of) == 1 else ""
        first = self.stated().take.get(of[0], "")
        self._ask_why(
            say("Why is {called} taken in{why}?").format(called=called(of), why=why),
            of,
            set_wishes.taken,
            f"take in {called(of)}",
            first,
        )
        return ""

    def leave_out(self, springs: Sequence[str]) -> str:
        """Ask why springs are not used."""
        first = self.stated().leave_out.get(springs[0], "")
        about = say("Why is {called} left out?").format(called=called(springs))
        self._ask_why(about, springs, set_wishes.left_out, f"leave out {called(springs)}", first)
        return ""

    def _ask_why(
        self,
        question: str,
        springs: Sequence[str],
        change: Callable[[Wishes, Sequence[str], str], Wishes],
        label: str,
        first: str,
    ) -> None:
        def answer(reason: str) -> str:
            if not reason:
                return "found no reason, expected one, such as scratched"
            return self.decide(change(self.stated(), springs, reason), label)

        self.ask.ask(question, answer, first)

    def as_judged(self, springs: Sequence[str]) -> str:
        """Neither taken in nor left out by hand."""
        return self.decide(
            set_wishes.as_judged(self.stated(), springs), say("{called} as judged").format(called=called(springs))
        )

    def together(self, springs: Sequence[str]) -> str:
        """Keep springs in one set."""
        return self.decide(
            set_wishes.kept_together(self.stated(), springs),
            say("keep {called} together").format(called=called(springs)),
        )

    def apart(self, springs: Sequence[str]) -> str:
        """Keep every two of these springs in different sets."""
        wishes = set_wishes.kept_apart(self.stated(), combinations(springs, 2))
        return self.decide(wishes, say("keep {called} apart").format(called=called(springs)))

    def never_with(self, springs: Sequence[str]) -> None:
        """Ask which springs these are never in one set with."""

        def answer(text: str) -> str:
            try:
                others = names_in(text)
            except WrongUsage as error:
                return say(str(error))
            strange = next((name for name in others if not self.usable.knows(name)), None)
            if strange is not None or not others:
                found = "nothing" if strange is None else repr(strange)
                return f"found {found}, expected springs of this tray with commas between"
            pairs = [(one, other) for one in springs for other in others]
            if any(one == other for one, other in pairs):
                return f"found {called(springs)} itself, expected other springs"
            wishes = set_wishes.kept_apart(self.stated(), pairs)
            return self.decide(
                wishes, say("{called} never with {called_2}").format(called=called(springs), called_2=called(others))
            )

        self.ask.ask(say("{called} never with (names, commas between):").format(called=called(springs)), answer)

    def fix(self, springs: Sequence[str], grouping: Grouping) -> str:
        """Fix springs in the sets that they are in."""
        wishes = self.stated()
        for one in grouping.sets:
            here = [name for name in springs if name in one]
            if here:
                wishes = set_wishes.fixed_in(wishes, here, one)
        return self.decide(wishes, say("fix {called} in place").format(called=called(springs)))


def fill_decisions(menu: QMenu, does: Decisions, springs: tuple[str, ...], grouping: Grouping) -> None:
    """Everything that can be wished of these springs; what can't be is there and greyed."""
    usable, stated = does.usable, does.stated()
    by_hand = stated.take.keys() | stated.leave_out.keys()
    used = tuple(name for name in springs if name in usable.values)
    in_sets = [name for name in used if grouping.set_of(name) is not None]
    _row(
        menu,
        say("&Take in with a reason…"),
        lambda: does.take_in(springs),
        on=any(n in usable.rejected for n in springs),
    )
    _row(menu, say("&Leave out with a reason…"), lambda: does.leave_out(springs), on=bool(springs))
    _row(menu, say("As &judged again"), lambda: does.as_judged(springs), on=any(name in by_hand for name in springs))
    menu.addSeparator()
    _row(menu, say("&Keep together"), lambda: does.together(used), on=len(used) > 1)
    _row(menu, say("Keep &apart"), lambda: does.apart(used), on=len(used) > 1)
    _row(menu, say("&Never with…"), lambda: does.never_with(used), on=bool(used))
    _row(menu, say("&Fix here: stays in this set"), lambda: does.fix(in_sets, grouping), on=bool(in_sets))
    tied: Mapping[str, object] = set_wishes.marks(stated)
    wished = [name for name in springs if name in tied]
    undo = menu.addMenu(say("&Undo a wish"))
    undo.setEnabled(bool(wished))
    for one in set_wishes.told(stated):
        if any(name in one.springs for name in wished):
            _row(undo, one.text, partial(does.decide, one.without, f"undo {one.text}"), on=True)


def fill_moves(
    menu: QMenu,
    springs: tuple[str, ...],
    grouping: Grouping,
    usable: Usable,
    wish: Wish,
    units: System,
    move: Callable[[tuple[str, ...], int | None], None],
) -> None:
    """A row a set, with how it would stand with these springs; then a new set, and left over."""
    for number, one in enumerate(grouping.sets):
        with_them = (*(name for name in one if name not in springs), *springs)
        then = sets.standing(with_them, usable.values, wish, grouping.place_of(number))
        text = f"{say(grouping.title(number))}:  {sets.told(then, wish, units)}"
        _row(menu, text, partial(move, springs, number), on=any(name not in one for name in springs))
    menu.addSeparator()
    _row(menu, say("A new set"), lambda: move(springs, len(grouping.sets)), on=True)
    _row(menu, say("Left over"), lambda: move(springs, None), on=True)


def _row(menu: QMenu, text: str, does: Callable[[], object], *, on: bool) -> QAction:
    action = menu.addAction(text)
    action.setEnabled(on)
    action.triggered.connect(lambda _on=False: does())
    return action
