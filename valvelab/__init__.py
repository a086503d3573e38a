"""valvelab: inspection of camshafts, valve springs and their place in the engine.

As a library (`import valvelab as vl`) it has a function a use, named like its command: `vl.lobes("cam.csv")`.
They are loaded when one is asked for; `valvelab.face` describes them.
"""

import sys
from importlib import import_module
from types import ModuleType
from typing import Any

__version__ = "0.2.0"

FUNCTIONS = (
    "lobes", "shaft", "texture", "springs", "sets", "shims", "lash", "phasing", "motion", "compare", "liftcheck",
    "gauge",
)  # fmt: skip
"""The uses as functions; some are named like rooms of the program, which stay modules for `import`."""


def _function(name: str) -> property:
    def get(_module: ModuleType) -> Any:
        return getattr(import_module("valvelab.face"), name)

    def leave(_module: ModuleType, _room: object) -> None:
        """An imported room does not take the function's place."""

    return property(get, leave)


class _Face(ModuleType):
    """The package itself, with its functions behind their names."""

    def __dir__(self) -> list[str]:
        return sorted({*super().__dir__(), *FUNCTIONS})


for _name in FUNCTIONS:
    setattr(_Face, _name, _function(_name))
sys.modules[__name__].__class__ = _Face
