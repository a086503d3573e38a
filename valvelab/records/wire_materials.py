"""The bundled table of spring wires."""

from __future__ import annotations

import tomllib

from valvelab.places import resources
from valvelab.springs.stress import WireMaterial, material_key


def read_wire_materials() -> dict[str, WireMaterial]:
    """Every wire by each of its names, in lower case with spaces and hyphens made one."""
    rows = tomllib.loads((resources() / "wire_materials.toml").read_text(encoding="utf-8"))["wire"]
    table: dict[str, WireMaterial] = {}
    for row in rows:
        material = WireMaterial(
            name=row["name"],
            a_mpa=row["a_mpa"],
            m=row["m"],
            shear_modulus_mpa=row["shear_modulus_mpa"],
            density_kg_per_m3=row.get("density_kg_per_m3", 7850.0),
            smallest_mm=row.get("smallest_mm"),
            largest_mm=row.get("largest_mm"),
            source=row["source"],
        )
        for name in (row["name"], *row.get("also", ())):
            table[material_key(name)] = material
    return table
