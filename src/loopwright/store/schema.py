"""The tables of the database, as of the latest migration."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, ForeignKeyConstraint, Integer, LargeBinary, MetaData, String, Table, UniqueConstraint

VERSIONS = ("0001", "0002")
"""The schema's versions this program knows, oldest first; each is a file in ``migrations/versions``."""

metadata = MetaData()

jobs = Table(
    "jobs",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String, nullable=False),
    Column("head", Integer, nullable=False),
    Column("head_sha256", String(64), nullable=False),
    UniqueConstraint("name", name="one_job_a_name"),
)

texts = Table(
    "texts",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("raw", LargeBinary, nullable=False),
    Column("base", String(64), nullable=False),
    Column("head", Integer, nullable=False),
    Column("tail", Integer, nullable=False),
    Column("row", Integer, nullable=False),
)

revisions = Table(
    "revisions",
    metadata,
    Column("job_id", Integer, ForeignKey("jobs.id"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("at", String(40), nullable=False),
    Column("by", String, nullable=False),
    Column("why", String, nullable=False),
    Column("summary", String, nullable=False),
    Column("note", String, nullable=False),
    Column("text_sha256", String(64), ForeignKey("texts.sha256"), nullable=False),
    Column("previous_sha256", String(64), nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("step", Integer, nullable=False),
    Column("before", Integer, nullable=False),
    Column("depth", Integer, nullable=False),
    Column("tip", Integer, nullable=False),
)

marks = Table(
    "marks",
    metadata,
    Column("job_id", Integer, primary_key=True),
    Column("name", String, primary_key=True),
    Column("revision", Integer, nullable=False),
    ForeignKeyConstraint(["job_id", "revision"], ["revisions.job_id", "revisions.number"]),
)

files = Table(
    "files",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("content", LargeBinary, nullable=False),
)
