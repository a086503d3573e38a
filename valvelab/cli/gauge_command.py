"""`valvelab gauge`: repeatability and reproducibility of a measurement; a plan sheet for a study."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common, spec_of
from valvelab.cli.output import finish, page, verdict_text
from valvelab.cli.streams import answer, say
from valvelab.errors import BadFile, WrongUsage
from valvelab.records.gauge_result import GaugeResult
from valvelab.units import System
from valvelab.writing import write_whole

if TYPE_CHECKING:
    from valvelab.inspection.form.gauge import GaugeInspection
    from valvelab.report.assembly import Part


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("study", type=Path, nargs="?", metavar="STUDY", help="part, appraiser, trial, reading")
    parser.add_argument("--tolerance", metavar="WIDTH", help='tolerance width to compare with, for example "0.05 mm"')
    parser.add_argument(
        "--plan", metavar="PARTS,APPRAISERS,TRIALS", help="print a sheet for a new study, for example 10,3,3"
    )
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="the plan's order; the same N, the same order")
    parser.add_argument(
        "--adopt", metavar="NAME=FILE",
        help="keep the result as the uncertainty of a kind of reading, for example runout=dial.toml",
    )  # fmt: skip
    add_columns(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Plan, or read, evaluate, answer."""
    if args.plan is not None:
        if args.study is not None:
            raise WrongUsage("--plan makes a new study; expected no STUDY beside it")
        return _plan(args)
    if args.study is None:
        raise WrongUsage("expected a STUDY, or --plan PARTS,APPRAISERS,TRIALS")
    kind, adopted_file = _adoption(args.adopt)
    result = inspect(args).result
    if adopted_file is not None:
        from valvelab.files.adopted_uncertainty import write_adopted
        from valvelab.inspection.form.gauge import adopt

        write_adopted(adopted_file, adopt(result, kind))
        if not args.quiet:
            say(f"info: {adopted_file}: adopted for {kind}")
    return finish(result, args, lambda: gauge_text(result, args.units))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.report.form_certificate import gauge_part

    return gauge_part(inspect(args), args.units)


def inspect(args: argparse.Namespace) -> GaugeInspection:
    """The inspection that a command line asks for."""
    from valvelab.files.gauge_study_file import read_gauge_study
    from valvelab.inspection.form.gauge import GaugeQuestion, inspect_gauge, study_quantity

    readings = read_gauge_study(args.study, args.columns)
    tolerance = None
    if args.tolerance is not None:
        try:
            tolerance = study_quantity(args.tolerance, readings.unit, "--tolerance", "command line")
        except BadFile as error:
            raise WrongUsage(str(error)) from None
    spec, sources = spec_of(args)
    return inspect_gauge(GaugeQuestion(readings, tolerance, spec, str(args.spec or ""), sources))


def _adoption(text: str | None) -> tuple[str, Path | None]:
    if text is None:
        return "", None
    kind, _, file = text.partition("=")
    if not kind.strip() or not file.strip():
        raise WrongUsage(f"--adopt {text}: expected NAME=FILE, for example runout=dial.toml")
    return kind.strip(), Path(file.strip())


def _plan(args: argparse.Namespace) -> int:
    from valvelab.files.gauge_study_file import LEAST_PLAN, can_be_planned, plan_rows, plan_text

    words = args.plan.replace("x", ",").replace("×", ",").split(",")
    if len(words) != 3 or not all(word.strip().isdecimal() for word in words):
        raise WrongUsage(f"--plan {args.plan}: expected PARTS,APPRAISERS,TRIALS, for example 10,3,3")
    parts, appraisers, trials = (int(word) for word in words)
    if not can_be_planned(parts, appraisers, trials):
        raise WrongUsage(f"--plan {args.plan}: expected {LEAST_PLAN}")
    rows = plan_rows(parts, appraisers, trials, args.seed)
    text = plan_text(rows, args.seed)
    if args.json:
        from valvelab.records.gauge_result import GaugePlan, PlannedReading

        planned = tuple(PlannedReading(part=part, appraiser=who, trial=trial) for part, who, trial in rows)
        text = GaugePlan(seed=args.seed, plan=planned).model_dump_json(indent=1) + "\n"
    if args.out is not None:
        write_whole(args.out, text)
    else:
        answer(text)
    return 0


def gauge_text(result: GaugeResult, system: System) -> str:
    """The readable tables."""
    from valvelab.tables.form import analysis_table, study_table

    head = f"{len(result.parts)} parts × {len(result.appraisers)} appraisers × {result.trials} trials"
    tables = [study_table(result, system), analysis_table(result, system)]
    return page(head, tables, verdict_text(result.verdicts, system))
