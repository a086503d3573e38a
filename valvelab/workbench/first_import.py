"""What is imported by one thread at a time: a library that is a circle inside would be found half made by a second."""

from __future__ import annotations

from importlib import import_module
from threading import Lock

_LOCK = Lock()


def numeric() -> None:
    """Load numpy, or wait until the thread that does so is done; whoever is about to load what needs it asks first."""
    load("numpy.typing")
    load("numpy.ma")  # which `unique` would load where it is called first


RECORDS = (
    "pydantic_core.core_schema",
    "annotated_types",
    "pydantic.errors",
    "pydantic.json_schema",
    "pydantic.types",
    "pydantic.main",
    "email.message",
    "importlib.metadata",
    "valvelab.records.result",
    "valvelab.records.particulars",
    "valvelab.workbench.saved_bench",
)
"""What keeps a bench, after the libraries that it stands on: none of them takes long by itself."""


def records() -> None:
    """Load what keeps a bench; the window's thread does so before it begins another, which needs it too."""
    for part in RECORDS:
        load(part)


def load(part: str) -> None:
    """Load a module, or wait until whoever loads one is done."""
    with _LOCK:
        import_module(part)
