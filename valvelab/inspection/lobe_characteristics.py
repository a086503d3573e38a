"""The lobe rows of the table of characteristics."""

from __future__ import annotations

from valvelab.inspection.characteristics import Characteristic

CHARACTERISTICS: tuple[Characteristic, ...] = ()
