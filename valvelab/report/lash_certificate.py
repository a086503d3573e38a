"""What lash set by shims puts on the certificate, and on the sheet that is read at the bench."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from valvelab.report.assembly import Part
from valvelab.report.page_model import SHEET_TYPE, BuildSheet, Section
from valvelab.tables.lash import bench_table, lash_table, lash_told, purchases_table
from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.inspection.engine.lash import LashInspection
    from valvelab.records.lash import LashResult

RULE = "New shim = fitted shim + (clearance measured − lash wanted)."
METHOD = (
    f"{RULE} First the most valves in their band, then the fewest "
    "shims bought, then the fewest from the shelf, then the fewest valves touched, then the nearest. u of a lash: the "
    "feeler's, and the micrometer's once where another shim goes in; the chance is that of a normal distribution."
)


def lash_part(inspection: LashInspection, system: System = "metric") -> Part:
    """The part of a certificate."""
    table, result = inspection.table, inspection.result
    return Part(
        name="Valve lash by shims",
        result=result,
        identity=(
            ("part", table.remarks.get("part")),
            ("serial number", table.remarks.get("serial")),
            ("operator", table.remarks.get("operator")),
            ("measured on", table.remarks.get("date")),
            ("valves", str(len(table.valves))),
        ),
        told=(lash_told(result, system),),
        picture=(),
        found=(lash_table(result, system), purchases_table(result, system)),
        annexes=lambda: (Section("Build sheet", (replace(bench_table(result, system), type_size=SHEET_TYPE),)),),
        method=METHOD,
        subjects=(),
        serial=table.remarks.get("serial"),
    )


def lash_sheet(result: LashResult, system: System) -> BuildSheet:
    """The sheet that is read at the bench."""
    table, told = bench_table(result, system), lash_told(result, system)
    return BuildSheet("Build sheet: lash shims", RULE, table, (told,), result.source)
