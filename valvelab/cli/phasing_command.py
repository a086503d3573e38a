"""`valvelab phasing`: a degree-wheel sheet worked out."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_common, spec_of
from valvelab.cli.output import finish, table, verdict_table
from valvelab.errors import BadFile
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.engine.phasing import PhasingInspection
    from valvelab.records.phasing_result import Event, PhasingResult
    from valvelab.report.assembly import Part


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("sheet", type=Path, metavar="SHEET", help="degree-wheel readings (TOML)")
    add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Inspect one sheet."""
    inspection = inspect(args)
    return finish(inspection.result, args, lambda: text(inspection, args.units))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.report.engine_certificate import phasing_part

    return phasing_part(inspect(args), args.units)


def inspect(args: argparse.Namespace) -> PhasingInspection:
    """The inspection that a command line asks for."""
    from valvelab.files.phasing_sheet import read_phasing_sheet
    from valvelab.inspection.engine.phasing import inspect_phasing

    sheet, source = read_phasing_sheet(args.sheet)
    if not (sheet.stop_deg or sheet.events or sheet.pairs):
        raise BadFile(str(args.sheet), "", "no readings", "[stop] readings, [[near_peak]] or [[reading]]")
    spec, sources = spec_of(args)
    return inspect_phasing(sheet, spec, (source, *sources), str(args.spec or ""))


def text(inspection: PhasingInspection, system: System) -> str:
    """The readable table."""
    from valvelab.inspection.engine.phasing import CAUTION

    result = inspection.result
    parts = [_engine(result), _lobes(result), _events(result, system), _outcomes(result)]
    if result.verdicts:
        parts.append(verdict_table(result.verdicts, system))
    step = inspection.next_reading
    parts += [f"Next: {step.instruction}\n  Why: {step.why}.", CAUTION]
    return "\n\n".join(part for part in parts if part)


def _angle(value: float | None, decimals: int = 2) -> str:
    return show(value, "deg", decimals=decimals)


def _engine(result: PhasingResult) -> str:
    u = result.uncertainty
    rows = [
        ["true TDC on the wheel", _angle(result.tdc_offset_deg), _angle(result.tdc_uncertainty_deg), "deg"],
        ["lobe separation", _angle(result.lobe_separation_cam_deg), _angle(u["lobe_separation_cam_deg"]), "cam deg"],
        ["advance", _angle(result.advance_crank_deg), _angle(u["advance_crank_deg"]), "crank deg"],
        [
            "correction (+ advances)",
            _angle(result.correction_crank_deg),
            _angle(u["correction_crank_deg"]),
            "crank deg",
        ],
        ["nearest step on the shelf", _angle(result.nearest_adjuster_crank_deg, 1), "", "crank deg"],
    ]
    return table(["", "value", "u", "unit"], rows)


def _lobes(result: PhasingResult) -> str:
    rows = []
    for lobe in result.lobes:
        centre, side = lobe.centreline_crank_deg, "ATDC" if (lobe.centreline_crank_deg or 0.0) >= 0.0 else "BTDC"
        card = lobe.card_centreline_crank_deg
        rows.append(
            [
                lobe.lobe,
                "–" if centre is None else f"{abs(centre):.2f} {side}",
                _angle(lobe.uncertainty["centreline_crank_deg"]),
                {"near_peak": "near the nose", "events": "the events", None: "–"}[lobe.centreline_from],
                "–" if card is None else f"{abs(card):.2f}",
                _angle(lobe.difference_crank_deg),
            ]
        )
    return table(["lobe", "centreline", "u", "from", "card", "later (+) [crank deg]"], rows) if rows else ""


def _events(result: PhasingResult, system: System) -> str:
    def event(value: Event | None) -> str:
        return "–" if value is None else f"{value.angle:.2f} {value.reference}"

    unit = display_unit("mm", system).label
    rows = [
        [
            lobe.lobe,
            show(row.at_mm, "mm", system),
            event(row.opening_event),
            event(row.closing_event),
            _angle(row.duration_crank_deg),
            _angle(row.uncertainty["duration_crank_deg"]),
            _angle(row.card_duration_crank_deg),
            _angle(row.difference_crank_deg),
        ]
        for lobe in result.lobes
        for row in lobe.durations
    ]
    rows += [
        [
            "overlap",
            show(row.at_mm, "mm", system),
            "",
            "",
            _angle(row.crank_deg),
            _angle(row.standard_uncertainty_crank_deg),
            "",
            "",
        ]
        for row in result.overlap
    ]
    header = ["lobe", f"at [{unit}]", "opens", "closes", "duration [crank deg]", "u", "card", "longer (+)"]
    return table(header, rows) if rows else ""


def _outcomes(result: PhasingResult) -> str:
    rows = [
        [
            _angle(row.step_crank_deg, 1),
            _angle(row.intake_centreline_crank_deg),
            _angle(row.exhaust_centreline_crank_deg),
            _angle(row.advance_crank_deg),
            _angle(row.remaining_crank_deg),
            "◀ nearest" if row.step_crank_deg == result.nearest_adjuster_crank_deg else "",
        ]
        for row in result.adjuster_outcomes
    ]
    header = ["step", "intake centreline", "exhaust centreline", "advance", "remaining [crank deg]", ""]
    return table(header, rows) if rows else ""
