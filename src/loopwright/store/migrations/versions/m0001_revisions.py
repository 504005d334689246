"""Jobs, their texts and revisions, and marks on these."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "jobs",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String, nullable=False),
        sa.Column("head", sa.Integer, nullable=False),
        sa.Column("head_sha256", sa.String(64), nullable=False),
        sa.UniqueConstraint("name", name="one_job_a_name"),
    )
    op.create_table(
        "texts",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("raw", sa.LargeBinary, nullable=False),
        sa.Column("base", sa.String(64), nullable=False),
        sa.Column("head", sa.Integer, nullable=False),
        sa.Column("tail", sa.Integer, nullable=False),
        sa.Column("row", sa.Integer, nullable=False),
    )
    op.create_table(
        "revisions",
        sa.Column("job_id", sa.Integer, sa.ForeignKey("jobs.id"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("at", sa.String(40), nullable=False),
        *(sa.Column(name, sa.String, nullable=False) for name in ("by", "why", "summary", "note")),
        sa.Column("text_sha256", sa.String(64), sa.ForeignKey("texts.sha256"), nullable=False),
        sa.Column("previous_sha256", sa.String(64), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        *(sa.Column(name, sa.Integer, nullable=False) for name in ("step", "before", "depth", "tip")),
    )
    op.create_table(
        "marks",
        sa.Column("job_id", sa.Integer, primary_key=True),
        sa.Column("name", sa.String, primary_key=True),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.ForeignKeyConstraint(["job_id", "revision"], ["revisions.job_id", "revisions.number"]),
    )
