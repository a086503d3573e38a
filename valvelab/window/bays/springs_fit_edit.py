"""A change of a shim plan by hand: chosen at one position, told before it is done, then done or left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QPaintEvent
from PySide6.QtWidgets import (
    QFormLayout,
    QLabel,
    QSizePolicy,
    QStyle,
    QStyleOptionComboBox,
    QStylePainter,
    QWidget,
)

from valvelab.inspection.springs.shim_case import FittingPlan, Lock, ShimCase
from valvelab.language import aloud, marked, say
from valvelab.springs.shims import Stack
from valvelab.tables.shims import offset_told, shims_told
from valvelab.units import System
from valvelab.window.fields import Choice
from valvelab.window.layouts import beside, stacked
from valvelab.window.numbers import display_unit
from valvelab.window.panes import button, colour_text, offer
from valvelab.workbench.fitting import Told, effect_told

_NOTHING = marked("Choose another spring or other parts: what that does is told here before it is done.")
_KINDS = (marked("shims"), marked("packer"), marked("keepers"), marked("retainer"))


@dataclass(frozen=True, slots=True)
class StandingPlan:
    """The plan as it stands, what it is evaluated by, and the positions that are locked."""

    case: ShimCase
    plan: FittingPlan
    locked: tuple[str, ...]
    units: System


class PartBox(Choice):
    """A choice whose figures are never cut: a remark after `=` or `·` is left out where there is no room for it."""

    letters = 8

    def shown_text(self) -> str:
        """The chosen text, as much of it as is shown."""
        option = QStyleOptionComboBox()
        self.initStyleOption(option)
        field = QStyle.SubControl.SC_ComboBoxEditField
        box = self.style().subControlRect(QStyle.ComplexControl.CC_ComboBox, option, field, self)
        text = self.currentText()
        return text if self.wide(text) <= box.width() else _without_remark(text)

    def minimumSizeHint(self) -> QSize:
        """Wide enough for every choice without remarks."""
        least = super().minimumSizeHint()
        longest = sorted((_without_remark(self.itemText(n)) for n in range(self.count())), key=len)[-8:]
        return QSize(least.width() + self.beyond(longest), least.height())

    def sizeHint(self) -> QSize:
        """No more than it needs."""
        return super().sizeHint().expandedTo(self.minimumSizeHint())

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the box with as much of its text as there is room for."""
        option = QStyleOptionComboBox()
        self.initStyleOption(option)
        option.currentText = self.shown_text()
        painter = QStylePainter(self)
        painter.drawComplexControl(QStyle.ComplexControl.CC_ComboBox, option)
        painter.drawControl(QStyle.ControlElement.CE_ComboBoxLabel, option)
        painter.end()


def _without_remark(text: str) -> str:
    return text.partition(" = ")[0].partition(" · ")[0]


class FitEdit(QWidget):
    """Position, spring and parts, and the effect: `done(plan, position)` when it is wanted.

    `position_chosen(position)` when another is looked at.
    Enter does it and Escape leaves it, wherever the focus is in the pane (`do_it`, `leave_it`).
    """

    done = Signal(object, str)
    position_chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.standing: StandingPlan | None = None
        self.position = ""
        self._sizes: dict[str, list[Any]] = {}
        self._filled: object = None
        self.at_box = self._box(say("Position that is changed"), self._on_position)
        self.spring_box = self._box(say("Spring at this position"), self._consider)
        self.swap_box = self._box(say("Position to swap springs with"), self._on_swap)
        self.part_boxes = {
            kind: self._box(say("{part} at this position").format(part=say(kind.capitalize())), self._consider)
            for kind in _KINDS
        }
        self.effect = QLabel(say(_NOTHING), self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.effect.setAccessibleName(say("Effect of the change"))
        self.effect.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        self.effect.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.effect.setMinimumHeight(round(4.0 * self.fontMetrics().height()))
        self.do_button = button(self, "&Do it", "Do what is told above (Enter)", self.do_it)
        self.leave_button = button(self, "&Leave it", "Leave the plan as it stands (Escape)", self.leave_it)
        self._lay_out()

    def _box(self, spoken: str, chosen: Any) -> PartBox:
        box = PartBox(self)
        box.setAccessibleName(say(spoken))
        box.setToolTip(say(spoken))
        box.currentIndexChanged.connect(lambda _index: chosen())
        return box

    def _lay_out(self) -> None:
        form = self._form = QFormLayout()
        form.setContentsMargins(0, 0, 0, 2)
        form.setHorizontalSpacing(6)
        form.setVerticalSpacing(3)
        form.setLabelAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        first = {"at": self.at_box, "spring": self.spring_box, say("swap with"): self.swap_box}
        for word, box in {**first, **self.part_boxes}.items():
            label = QLabel(say(word), self)
            label.setBuddy(box)
            form.addRow(label, box)
        self.doing = beside(self.do_button, self.leave_button, 1, margins=(0, 2, 0, 2), spacing=6)
        stacked(self, form, self.effect, self.doing)

    # -- showing ----------------------------------------------------------------------------------------------------

    def show_standing(self, standing: StandingPlan, position: str) -> None:
        """Show what stands at a position; what was being considered for it is left where either is another."""
        places = [one.position for one in standing.plan.settings]
        self.position = position if position in places else places[0]
        if self._filled == (standing, self.position):
            return
        self.standing, self._filled = standing, (standing, self.position)
        offer(self.at_box, [(place, place) for place in places], self.position)
        self._fill()

    def _fill(self) -> None:
        """Fill the boxes with what there is, and choose what stands."""
        if self.standing is None:
            return
        case, plan, units = self.standing.case, self.standing.plan, self.standing.units
        here = plan.at(self.position)
        stands = {one.spring: one.position for one in plan.settings}
        names = _with([*(one.name for one in case.springs), *case.barred], here.spring)
        offer(self.spring_box, [(_spring(name, stands, case, self.position), name) for name in names], here.spring)
        others = [one for one in plan.settings if one.position != self.position]
        swaps = [("–", ""), *((f"{one.position} · {one.spring}", one.position) for one in others)]
        offer(self.swap_box, swaps, "")
        place = next(one for one in case.heights.positions if one.position == self.position)
        shims, *parts = case.options(place, Lock())
        now = (here.stack.shims_mm, here.stack.packer_mm, here.stack.keeper_mm, here.stack.retainer_mm)
        options: tuple[Sequence[Any], ...] = (sorted(shims, key=sum), *parts)
        for kind, sizes, size in zip(_KINDS, options, now, strict=True):
            self._offer(kind, _with(sizes, size), size, units)
        self._consider()

    def _offer(self, kind: str, sizes: list[Any], chosen: Any, units: System) -> None:
        """Offer the sizes of a part; without a choice it isn't shown."""
        box, self._sizes[kind] = self.part_boxes[kind], sizes
        offer(box, [(_size(kind, one, units), number) for number, one in enumerate(sizes)], sizes.index(chosen))
        self._form.setRowVisible(box, len(sizes) > 1)

    # -- considering ------------------------------------------------------------------------------------------------

    def proposal(self) -> FittingPlan | None:
        """The plan that the boxes ask for."""
        if self.standing is None:
            return None
        shims, packer, keeper, retainer = (self._sizes[kind][self.part_boxes[kind].currentData()] for kind in _KINDS)
        stack = Stack(shims, packer, keeper or 0.0, retainer or 0.0)
        plan = self.standing.plan.with_stack(self.position, stack)
        spring = self.spring_box.currentData()
        return plan if spring == plan.at(self.position).spring else plan.with_spring(self.position, spring)

    @property
    def open(self) -> bool:
        """Whether a change is being considered."""
        return self.standing is not None and self.proposal() != self.standing.plan

    def _consider(self) -> None:
        plan, standing = self.proposal(), self.standing
        if plan is None or standing is None:
            return
        told, considered = Told("", ""), plan != standing.plan
        if considered:
            told = effect_told(standing.case.effect(standing.plan, plan), standing.locked, standing.units)
        refused = say("refused because {refused}").format(refused=told.refused) if told.refused else ""
        self.effect.setText("; ".join(part for part in (refused, told.text) if part) or say(_NOTHING))
        colour_text(self.effect, "reject" if refused else "text" if considered else "quiet")
        self.do_button.setEnabled(considered and not refused)
        self.leave_button.setEnabled(considered)

    def _on_position(self) -> None:
        self.position = self.at_box.currentData() or self.position
        self._filled = (self.standing, self.position)
        self._fill()
        self.position_chosen.emit(self.position)

    def _on_swap(self) -> None:
        other = self.swap_box.currentData()
        if self.standing is not None and other:
            self.spring_box.setCurrentIndex(self.spring_box.findData(self.standing.plan.at(other).spring))

    def do_it(self) -> None:
        """Do what was told."""
        plan = self.proposal()
        if plan is not None and self.do_button.isEnabled():
            self.done.emit(plan, self.position)

    def leave_it(self) -> None:
        """Leave the plan as it stands."""
        self._fill()


def _with(sizes: Sequence[Any], there: Any) -> list[Any]:
    """The sizes, and what is there where it is none of them."""
    return [*sizes, *([] if there in sizes else [there])]


def _spring(name: str, stands: dict[str, str], case: ShimCase, position: str) -> str:
    place = stands.get(name)
    where = "" if place in {None, position} else say(" · at {place}").format(place=place)
    return f"{name}{where}{(say(' · kept out') if name in case.barred else '')}"


@aloud()
def _size(kind: str, size_mm: Any, units: System) -> str:
    """A size of a part as it is offered: a stack of shims with its height, nothing as `none`."""
    if kind == "shims":
        told = shims_told(size_mm, units)
        height = f"{shims_told((sum(size_mm),), units)} {display_unit('mm', units).label}"
        return f"{told} = {height}" if len(size_mm) > 1 else told
    if kind == "packer":
        return say("none") if size_mm is None else shims_told((size_mm,), units)
    return offset_told(size_mm, units)
