"""The first tables"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "documents",
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("body", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("changed_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "name", name=op.f("pk_documents")),
    )
    op.create_table(
        "journal",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=True, nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("zone", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("servo", sa.String(length=40), nullable=True),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("via", sa.String(length=20), nullable=False),
        sa.Column("motion", sa.String(length=40), nullable=True),
        sa.Column("run", sa.String(length=40), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("what", sa.JSON(), nullable=False),
        sa.Column("result", sa.String(length=20), nullable=True),
        sa.Column("result_at", sa.BigInteger(), nullable=True),
        sa.Column("cause", sa.String(length=40), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("figures", sa.JSON(), nullable=False),
        sa.Column("late", sa.Boolean(), nullable=False),
        sa.Column("traced", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_journal")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("journal", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_journal_kind_id"), ["kind", "id"], unique=False)
        batch_op.create_index(
            "ix_journal_open",
            ["id"],
            unique=False,
            sqlite_where=sa.text("result IS NULL"),
            postgresql_where=sa.text("result IS NULL"),
        )
        batch_op.create_index(
            "ix_journal_run",
            ["run", "id"],
            unique=False,
            sqlite_where=sa.text("run IS NOT NULL"),
            postgresql_where=sa.text("run IS NOT NULL"),
        )
        batch_op.create_index(batch_op.f("ix_journal_servo_id"), ["servo", "id"], unique=False)
        batch_op.create_index(batch_op.f("ix_journal_servo_kind_id"), ["servo", "kind", "id"], unique=False)

    op.create_table(
        "journal_days",
        sa.Column("day", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("first", sa.BigInteger(), nullable=False),
        sa.Column("last", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("day", name=op.f("pk_journal_days")),
    )
    op.create_table(
        "runs",
        sa.Column("number", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("sequence", sa.String(length=80), nullable=False),
        sa.Column("servo", sa.String(length=40), nullable=True),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("asked_by", sa.Text(), nullable=False),
        sa.Column("asked_at", sa.BigInteger(), nullable=False),
        sa.Column("started_at", sa.BigInteger(), nullable=True),
        sa.Column("ended_at", sa.BigInteger(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_runs")),
        sa.UniqueConstraint("id", name=op.f("uq_runs_id")),
    )
    op.create_table(
        "states",
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "name", name=op.f("pk_states")),
    )
    op.create_table(
        "journal_traces",
        sa.Column("entry", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("rows", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry"], ["journal.id"], name=op.f("fk_journal_traces_entry_journal"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("entry", name=op.f("pk_journal_traces")),
    )
    op.create_table(
        "run_steps",
        sa.Column("run", sa.String(length=40), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["run"], ["runs.id"], name=op.f("fk_run_steps_run_runs"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("run", "position", name=op.f("pk_run_steps")),
    )
