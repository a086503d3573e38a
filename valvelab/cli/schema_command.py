"""`valvelab schema NAME`: JSON Schema of what the program writes, and of the TOML it reads."""

from __future__ import annotations

import argparse
import json
from importlib import import_module
from importlib.util import find_spec

from pydantic import BaseModel

from valvelab.cli.streams import answer
from valvelab.errors import WrongUsage

MODELS: dict[str, str] = {
    "lobes": "valvelab.inspection.lobes.characteristics:result_model",
    "shaft": "valvelab.records.shaft_result:ShaftResult",
    "texture": "valvelab.records.texture_result:TextureResult",
    "springs": "valvelab.records.springs_result:SpringsResult",
    "sets": "valvelab.records.sets_result:SetsResult",
    "shims": "valvelab.records.shims_result:ShimsResult",
    "phasing": "valvelab.records.phasing_result:PhasingResult",
    "motion": "valvelab.records.motion_result:MotionResult",
    "gauge": "valvelab.records.gauge_result:GaugeResult",
    "gauge-plan": "valvelab.records.gauge_result:GaugePlan",
    "adopted-uncertainty": "valvelab.records.gauge_result:AdoptedUncertainty",
    "demo": "valvelab.records.demo_result:DemoResult",
    "certify": "valvelab.records.certificate_result:CertifyResult",
    "verify": "valvelab.records.certificate_result:VerifyResult",
    "spec": "valvelab.records.spec:Spec",
    "job": "valvelab.records.job:Job",
    "phasing-sheet": "valvelab.records.phasing_sheet:PhasingSheet",
    "train": "valvelab.records.train:Train",
}
READ = ("spec", "job", "phasing-sheet", "train", "adopted-uncertainty")


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("name", nargs="?", metavar="NAME", help="what to describe; without it, the names are listed")
    parser.add_argument("--json", action="store_true", help="list the names as one JSON document")


def available() -> dict[str, str]:
    """Names whose model is there."""
    return {name: target for name, target in MODELS.items() if find_spec(target.partition(":")[0])}


def model_named(name: str) -> type[BaseModel]:
    """The model behind a name; WrongUsage with the names for another."""
    models = available()
    if name not in models:
        raise WrongUsage(f"schema: found {name!r}, expected one of {', '.join(models)}")
    module, _, attribute = models[name].partition(":")
    found = getattr(import_module(module), attribute)
    model: type[BaseModel] = found if isinstance(found, type) else found()
    return model


def schema_of(name: str) -> dict[str, object]:
    """JSON Schema (draft 2020-12) of a name, as written or, for what the program reads, as it may be typed."""
    mode = "validation" if name in READ else "serialization"
    schema = model_named(name).model_json_schema(by_alias=True, mode=mode)  # type: ignore[arg-type]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def run(args: argparse.Namespace) -> int:
    """Print one schema, or the names."""
    if args.name is not None:
        answer(json.dumps(schema_of(args.name), indent=1))
    elif args.json:
        answer(json.dumps({"schemas": list(available())}, indent=1))
    else:
        answer("\n".join(available()))
    return 0
