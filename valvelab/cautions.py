"""What everyone at the bench has to know; window, certificate, help and README show these same sentences."""

from __future__ import annotations

SPRINGS = "Valve springs hold energy: eye protection, sound tools, hands clear."
ENGINE = "Turn the engine by hand with plugs out; never use the starter against a piston stop."
CAUTIONS: tuple[str, ...] = (
    SPRINGS,
    ENGINE,
    (
        "Results support, and never replace, the judgement of licensed or qualified people, the engine maker's limits "
        "and the event's own officials."
    ),
    "Not for flight-critical parts.",
)
