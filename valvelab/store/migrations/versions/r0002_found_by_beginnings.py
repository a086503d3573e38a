"""Records are found by the beginnings of serial number, part and customer, whether capitals or small letters."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add an index each, the newest of a text first."""
    by_sign = "" if op.get_bind().dialect.name == "sqlite" else ' COLLATE "C"'
    for column in ("serial", "part", "customer"):
        op.execute(
            f"CREATE INDEX ix_record_{column}_begun ON record (lower({column}{by_sign}), date DESC, number DESC)"
        )
