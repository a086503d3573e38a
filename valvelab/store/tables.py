"""The tables of the store as the newest migration leaves them; a test holds the two together."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    Double,
    ForeignKey,
    Identity,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    text,
)
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}
METADATA = MetaData(naming_convention=NAMES)

NUMBER = BigInteger().with_variant(Integer, "sqlite")
"""A row's number; SQLite counts rows itself only where the column is called INTEGER."""

STATED = text("corrects IS NOT NULL")


class Folded(FunctionElement[str]):
    """A text in which A to Z count as a to z, compared sign by sign: the same on either database, in any locale."""

    inherit_cache = True
    name = "folded"
    type = Text()


@compiles(Folded)
def _folded(element: Folded, compiler: SQLCompiler, **how: object) -> str:
    return f"lower({compiler.process(element.clauses, **how)})"


@compiles(Folded, "postgresql")
def _folded_by_sign(element: Folded, compiler: SQLCompiler, **how: object) -> str:
    return f'lower({compiler.process(element.clauses, **how)} COLLATE "C")'


RECORD = Table(
    "record",
    METADATA,
    Column("number", NUMBER, Identity(), primary_key=True),
    Column("id", String(64), nullable=False, unique=True),
    Column("schema_version", Integer, nullable=False),
    Column("recorded", String(40), nullable=False),
    Column("date", String(10), nullable=False),
    Column("inspect", Text, nullable=False),
    Column("version", Text, nullable=False),
    Column("job_part", Integer, nullable=False),
    Column("part", Text),
    Column("serial", Text),
    Column("customer", Text),
    Column("operator", Text),
    Column("instrument", Text),
    Column("instrument_calibrated", Text),
    Column("instrument_due", String(10)),
    Column("temperature_degc", Double),
    Column("spec_title", Text),
    Column("spec_revision", Text),
    Column("decision", String(10)),
    Column("accepted", Integer, nullable=False),
    Column("rejected", Integer, nullable=False),
    Column("undecided", Integer, nullable=False),
    Column("corrects", String(64), ForeignKey("record.id")),
    Column("reason", Text),
    Index("ux_record_corrects", "corrects", unique=True, sqlite_where=STATED, postgresql_where=STATED),
    Index("ix_record_date_number", "date", "number"),
    Index("ix_record_serial_date_number", "serial", "date", "number"),
    Index("ix_record_part_date_number", "part", "date", "number"),
    Index("ix_record_customer_date_number", "customer", "date", "number"),
    Index("ix_record_decision_date_number", "decision", "date", "number"),
)
"""Newest first and one filter are answered from an index; a record is corrected once.

The index of `corrects` leaves out those that correct nothing: with them SQLite's ANALYZE holds it for useless.
"""
BEGUN = ("serial", "part", "customer")
"""What is looked for by its beginning; from the index, each text's newest first."""
for _name in BEGUN:
    Index(f"ix_record_{_name}_begun", Folded(RECORD.c[_name]), RECORD.c.date.desc(), RECORD.c.number.desc())

CONTENT = Table(
    "content",
    METADATA,
    Column("sha256", String(64), primary_key=True),
    Column("data", LargeBinary, nullable=False),
)
"""Bytes, once each."""

FILE = Table(
    "record_file",
    METADATA,
    Column("record", NUMBER, ForeignKey("record.number"), primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("role", String(12), nullable=False),
    Column("sha256", String(64), ForeignKey("content.sha256"), nullable=False),
    Column("size", BigInteger, nullable=False),
)

ITEM = Table(
    "record_item",
    METADATA,
    Column("record", NUMBER, ForeignKey("record.number"), primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("item", Text, nullable=False),
    Column("decision", String(10)),
)

TABLES = (CONTENT, RECORD, FILE, ITEM)
VERSION_TABLE = "store_version"
