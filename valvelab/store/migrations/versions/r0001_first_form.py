"""The first form: records with their files and items, bytes once each, nothing that alters or deletes."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer, "sqlite")
#: table → what makes one of its rows that row
KEYS = {
    "content": ("sha256",),
    "record": ("id", "number", "corrects"),
    "record_file": ("record AND place", ),
    "record_item": ("record AND place", ),
}  # fmt: skip
REFUSED = "a record is never altered or deleted"


def upgrade() -> None:
    """Make the tables and what guards them."""
    op.create_table(
        "content",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_content"),
    )
    op.create_table(
        "record",
        sa.Column("number", NUMBER, sa.Identity(), nullable=False),
        sa.Column("id", sa.String(64), nullable=False),
        sa.Column("schema_version", sa.Integer, nullable=False),
        sa.Column("recorded", sa.String(40), nullable=False),
        sa.Column("date", sa.String(10), nullable=False),
        sa.Column("inspect", sa.Text, nullable=False),
        sa.Column("version", sa.Text, nullable=False),
        sa.Column("job_part", sa.Integer, nullable=False),
        sa.Column("part", sa.Text),
        sa.Column("serial", sa.Text),
        sa.Column("customer", sa.Text),
        sa.Column("operator", sa.Text),
        sa.Column("instrument", sa.Text),
        sa.Column("instrument_calibrated", sa.Text),
        sa.Column("instrument_due", sa.String(10)),
        sa.Column("temperature_degc", sa.Double),
        sa.Column("spec_title", sa.Text),
        sa.Column("spec_revision", sa.Text),
        sa.Column("decision", sa.String(10)),
        sa.Column("accepted", sa.Integer, nullable=False),
        sa.Column("rejected", sa.Integer, nullable=False),
        sa.Column("undecided", sa.Integer, nullable=False),
        sa.Column("corrects", sa.String(64)),
        sa.Column("reason", sa.Text),
        sa.PrimaryKeyConstraint("number", name="pk_record"),
        sa.UniqueConstraint("id", name="uq_record_id"),
        sa.ForeignKeyConstraint(["corrects"], ["record.id"], name="fk_record_corrects"),
    )
    stated = sa.text("corrects IS NOT NULL")
    op.create_index(
        "ux_record_corrects", "record", ["corrects"], unique=True, sqlite_where=stated, postgresql_where=stated
    )
    op.create_index("ix_record_date_number", "record", ["date", "number"])
    for column in ("serial", "part", "customer", "decision"):
        op.create_index(f"ix_record_{column}_date_number", "record", [column, "date", "number"])
    op.create_table(
        "record_file",
        sa.Column("record", NUMBER, nullable=False),
        sa.Column("place", sa.Integer, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("role", sa.String(12), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("record", "place", name="pk_record_file"),
        sa.ForeignKeyConstraint(["record"], ["record.number"], name="fk_record_file_record"),
        sa.ForeignKeyConstraint(["sha256"], ["content.sha256"], name="fk_record_file_sha256"),
    )
    op.create_table(
        "record_item",
        sa.Column("record", NUMBER, nullable=False),
        sa.Column("place", sa.Integer, nullable=False),
        sa.Column("item", sa.Text, nullable=False),
        sa.Column("decision", sa.String(10)),
        sa.PrimaryKeyConstraint("record", "place", name="pk_record_item"),
        sa.ForeignKeyConstraint(["record"], ["record.number"], name="fk_record_item_record"),
    )
    (_guard_sqlite if op.get_bind().dialect.name == "sqlite" else _guard_postgresql)()


def _guard_sqlite() -> None:
    """Triggers that refuse to alter, to delete, and to insert in place of a row (which tells no other trigger)."""
    for table, keys in KEYS.items():
        there = " OR ".join(
            "(" + " AND ".join(f"{column} = NEW.{column}" for column in key.split(" AND ")) + ")" for key in keys
        )
        seen = f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {there})"  # noqa: S608 - names of this module
        for verb, when in (("update", ""), ("delete", ""), ("insert", seen)):
            op.execute(
                f"CREATE TRIGGER {table}_{verb} BEFORE {verb.upper()} ON {table} {when} "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSED}'); END"
            )


def _guard_postgresql() -> None:
    """Triggers that refuse to alter or delete, to the store's owner as well."""
    op.execute(
        "CREATE FUNCTION valvelab_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{REFUSED}'; END $$"
    )
    for table in KEYS:
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION valvelab_append_only()"
        )
