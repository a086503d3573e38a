"""`valvelab schema NAME`: JSON Schema of what the program writes, and of the TOML it reads."""

from __future__ import annotations

import argparse
import json

from pydantic import BaseModel

from valvelab.cli.streams import answer
from valvelab.errors import WrongUsage
from valvelab.job.uses import USES, use
from valvelab.records.batch_result import BatchResult
from valvelab.records.certificate_result import CertifyResult, VerifyResult
from valvelab.records.demo_result import DemoResult
from valvelab.records.gauge_result import AdoptedUncertainty, GaugePlan
from valvelab.records.instrument_card import InstrumentCard
from valvelab.records.job import Job
from valvelab.records.particulars import ShopCard
from valvelab.records.phasing_sheet import PhasingSheet
from valvelab.records.records_result import (
    ExportManifest,
    RecordsAddResult,
    RecordsCheckResult,
    RecordsExportResult,
    RecordsFilesResult,
    RecordsGrantResult,
    RecordsHistoryResult,
    RecordsListResult,
    RecordsShowResult,
)
from valvelab.records.result import SCHEMA, Result, schema_id
from valvelab.records.saved_job import SavedJob
from valvelab.records.signing_key import KeyResult, PublicKey
from valvelab.records.spec import Spec
from valvelab.records.stored import StoredRecord
from valvelab.records.train import Train

FURTHER: dict[str, type[BaseModel]] = {
    "gauge-plan": GaugePlan,
    "adopted-uncertainty": AdoptedUncertainty,
    "demo": DemoResult,
    "batch": BatchResult,
    "certify": CertifyResult,
    "verify": VerifyResult,
    "key": KeyResult,
    "public-key": PublicKey,
    "record": StoredRecord,
    "records-add": RecordsAddResult,
    "records-list": RecordsListResult,
    "records-show": RecordsShowResult,
    "records-files": RecordsFilesResult,
    "records-history": RecordsHistoryResult,
    "records-export": RecordsExportResult,
    "records-check": RecordsCheckResult,
    "records-grant": RecordsGrantResult,
    "records-manifest": ExportManifest,
    "spec": Spec,
    "job": Job,
    "job-file": SavedJob,
    "phasing-sheet": PhasingSheet,
    "train": Train,
    "instrument-card": InstrumentCard,
    "shop-card": ShopCard,
}
NAMES = (*USES, *FURTHER)
READ = (
    "record", "records-manifest", "spec", "job", "job-file", "phasing-sheet", "train", "adopted-uncertainty",
    "instrument-card", "shop-card", "public-key",
)  # fmt: skip


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    told = "what to describe; without it, the names are listed"
    name = parser.add_argument("name", nargs="?", metavar="NAME", help=told)
    name.offered = NAMES  # type: ignore[attr-defined] # to be completed; another is refused in words of our own
    parser.add_argument("--json", action="store_true", help="list the names as one JSON document")


def model_named(name: str) -> type[BaseModel]:
    """The model behind a name; WrongUsage with the names for another."""
    if name in FURTHER:
        return FURTHER[name]
    if name not in USES:
        raise WrongUsage(f"schema: found {name!r}, expected one of {', '.join(NAMES)}")
    found = use(name).result
    return found if isinstance(found, type) else found()


def schema_of(name: str) -> dict[str, object]:
    """JSON Schema (draft 2020-12) of a name, as written or, for what the program reads, as it may be typed."""
    mode = "validation" if name in READ else "serialization"
    model = model_named(name)
    schema = model.model_json_schema(by_alias=True, mode=mode)  # type: ignore[arg-type]
    if issubclass(model, Result):
        schema["properties"] = {SCHEMA: {"const": schema_id(name)}, **schema["properties"]}
    return {SCHEMA: "https://json-schema.org/draft/2020-12/schema", "$id": schema_id(name), **schema}


def run(args: argparse.Namespace) -> int:
    """Print one schema, or the names."""
    if args.name is not None:
        answer(json.dumps(schema_of(args.name), indent=1))
    elif args.json:
        answer(json.dumps({"schemas": list(NAMES)}, indent=1))
    else:
        answer("\n".join(NAMES))
    return 0
