"""What everyone at the bench has to know; window, certificate, help and README show these same sentences."""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "Valve springs hold energy: eye protection, sound tools, hands clear.",
    "Turn the engine by hand with plugs out; never use the starter against a piston stop.",
    (
        "Results support, and never replace, the judgement of licensed or qualified people, the engine maker's limits "
        "and the event's own officials."
    ),
    "Not for flight-critical parts.",
)
