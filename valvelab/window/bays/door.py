"""The one door to the bays' own widgets: what draws plots is imported after the first paint, when a view is wanted."""

from __future__ import annotations

from typing import Any

from PySide6.QtWidgets import QWidget

from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.loading import load_view


def make_start(name: str, bench: Bench) -> QWidget | None:
    """What a bay offers while nothing is on the bench for it; None where it offers nothing."""
    match name:
        case "gauge":
            from valvelab.window.bays.gauge_start import PlanStrip

            return PlanStrip(bench)
    return None


def make_view(name: str, bench: Bench) -> BayView[Any]:
    """The view of a bay; ModuleNotFoundError for a name that is none."""
    load_view(name)
    match name:
        case "lobes":
            from valvelab.window.bays.lobes_view import LobesView

            return LobesView(bench)
        case "springs":
            from valvelab.window.bays.springs_view import SpringsView

            return SpringsView(bench)
        case "shaft":
            from valvelab.window.bays.shaft_view import ShaftView

            return ShaftView(bench)
        case "texture":
            from valvelab.window.bays.texture_view import TextureView

            return TextureView(bench)
        case "gauge":
            from valvelab.window.bays.gauge_view import GaugeView

            return GaugeView(bench)
        case "phasing":
            from valvelab.window.bays.phasing_view import PhasingView

            return PhasingView(bench)
        case "motion":
            from valvelab.window.bays.motion_view import MotionView

            return MotionView(bench)
        case "liftcheck":
            from valvelab.window.bays.liftcheck_view import LiftCheckView

            return LiftCheckView(bench)
        case "compare":
            from valvelab.window.bays.compare_view import CompareView

            return CompareView(bench)
        case "lash":
            from valvelab.window.bays.lash_view import LashView

            return LashView(bench)
    raise KeyError(name)
