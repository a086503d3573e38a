"""`valvelab gauge`: repeatability and reproducibility of a measurement; a plan sheet for a study."""

from __future__ import annotations

import argparse
from pathlib import Path

from valvelab.cli import inspecting
from valvelab.cli.defaults import use_defaults
from valvelab.cli.streams import answer, say
from valvelab.errors import WrongUsage
from valvelab.files.adopted_uncertainty import write_adopted
from valvelab.files.gauge_study_file import LEAST_PLAN, can_be_planned, plan_rows, plan_text
from valvelab.inspection.form.gauge import adopt
from valvelab.job.gauge import USE
from valvelab.job.use import Around
from valvelab.records.gauge_result import GaugePlan, PlannedReading
from valvelab.records.parts.gauge import GaugePart
from valvelab.writing import write_whole

NAME = "gauge"


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    inspecting.configure(parser, NAME, file_needed=False)
    parser.add_argument(
        "--plan", metavar="PARTS,APPRAISERS,TRIALS", help="print a sheet for a new study, for example 10,3,3"
    )
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="the plan's order; the same N, the same order")
    parser.add_argument(
        "--adopt",
        metavar="NAME=FILE",
        help="keep the result as the uncertainty of a kind of reading, for example runout=dial.toml",
    )


def run(args: argparse.Namespace) -> int:
    """Plan, or read, evaluate, answer."""
    if args.plan is not None:
        if args.file is not None:
            raise WrongUsage("--plan makes a new study; expected no STUDY beside it")
        return _plan(args)
    if args.file is None:
        raise WrongUsage("expected a STUDY, or --plan PARTS,APPRAISERS,TRIALS")
    kind, adopted_file = _adoption(args.adopt)
    use_defaults(args, GaugePart)
    with inspecting.asked(GaugePart, args) as (part, folder):
        inspection = USE.inspect(part, Around())
        if adopted_file is not None:
            write_adopted(adopted_file, adopt(inspection.result, kind))
            if not args.quiet:
                say(f"info: {adopted_file}: adopted for {kind}")
        return inspecting.finish(USE, inspection, part, args, folder)


def _adoption(text: str | None) -> tuple[str, Path | None]:
    if text is None:
        return "", None
    kind, _, file = text.partition("=")
    if not kind.strip() or not file.strip():
        raise WrongUsage(f"--adopt {text}: expected NAME=FILE, for example runout=dial.toml")
    return kind.strip(), Path(file.strip())


def _plan(args: argparse.Namespace) -> int:
    words = args.plan.replace("x", ",").replace("×", ",").split(",")
    if len(words) != 3 or not all(word.strip().isdecimal() for word in words):
        raise WrongUsage(f"--plan {args.plan}: expected PARTS,APPRAISERS,TRIALS, for example 10,3,3")
    parts, appraisers, trials = (int(word) for word in words)
    if not can_be_planned(parts, appraisers, trials):
        raise WrongUsage(f"--plan {args.plan}: expected {LEAST_PLAN}")
    rows = plan_rows(parts, appraisers, trials, args.seed)
    text = plan_text(rows, args.seed)
    if args.json:
        planned = tuple(PlannedReading(part=part, appraiser=who, trial=trial) for part, who, trial in rows)
        text = GaugePlan(seed=args.seed, plan=planned).model_dump_json(indent=1) + "\n"
    if args.out is not None:
        write_whole(args.out, text)
    else:
        answer(text)
    return 0
