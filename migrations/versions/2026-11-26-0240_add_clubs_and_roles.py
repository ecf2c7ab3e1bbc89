"""Clubs, each with its field days, and three roles in each: organizer, director, helper.

What there was becomes the first club's. Its director could do everything, so that pass phrase and those sessions
become the organizer's.
"""

from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

FIRST_CLUB = "First club"
IS_ROLE = "role IN ('organizer', 'director', 'helper')"


def upgrade() -> None:
    club_id = _create_clubs()
    _give_days_a_club(club_id)
    _give_the_logbook_a_club(club_id)
    _move_pass_phrase(club_id)
    _move_sessions(club_id)
    _count_failures_by_account()


def _create_clubs() -> int:
    """The first club's id."""
    clubs = op.create_table(
        "club",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", AutoString(), nullable=False),
        sa.Column("made_at", UTCDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_club"),
        sa.UniqueConstraint("name", name="uq_club_name"),
        sqlite_autoincrement=True,
    )
    assert clubs is not None
    connection = op.get_bind()
    connection.execute(clubs.insert().values(name=FIRST_CLUB, made_at=datetime.now(UTC)))
    return int(connection.execute(sa.select(clubs.c.id)).scalar_one())


def _give_days_a_club(club_id: int) -> None:
    op.add_column("field_day", sa.Column("club_id", sa.Integer(), nullable=True))
    op.execute(f"UPDATE field_day SET club_id = {club_id}")
    with op.batch_alter_table("field_day", table_kwargs={"sqlite_autoincrement": True}) as batch:
        batch.alter_column("club_id", existing_type=sa.Integer(), nullable=False)
        batch.create_foreign_key("fk_field_day_club_id_club", "club", ["club_id"], ["id"])
        batch.create_index("ix_field_day_club_id", ["club_id"])


def _give_the_logbook_a_club(club_id: int) -> None:
    """Without making the table anew, which would lose its triggers; the one against updates rests meanwhile."""
    op.execute(
        "ALTER TABLE logbook_entry ADD COLUMN club_id INTEGER "
        "CONSTRAINT fk_logbook_entry_club_id_club REFERENCES club (id)"
    )
    rest, wake = _update_trigger()
    op.execute(rest)
    op.execute(f"UPDATE logbook_entry SET club_id = {club_id} WHERE field_day_id IS NULL")
    op.execute(wake)
    op.create_index("ix_logbook_entry_club_id", "logbook_entry", ["club_id"])


def _update_trigger() -> tuple[str, str]:
    """What puts the trigger that refuses updates of the logbook to rest, and what wakes it again."""
    name = "logbook_entry_refuses_update"
    connection = op.get_bind()
    if connection.dialect.name == "postgresql":
        alter = "ALTER TABLE logbook_entry {} TRIGGER " + name
        return alter.format("DISABLE"), alter.format("ENABLE")
    made_by = sa.text("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = :name")
    return f"DROP TRIGGER {name}", str(connection.execute(made_by, {"name": name}).scalar_one())


def _move_pass_phrase(club_id: int) -> None:
    op.create_table(
        "pass_phrase",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("club_id", sa.Integer(), nullable=False),
        sa.Column("role", AutoString(), nullable=False),
        sa.Column("salt", sa.LargeBinary(), nullable=False),
        sa.Column("hash", sa.LargeBinary(), nullable=False),
        sa.Column("parameters", AutoString(), nullable=False),
        sa.Column("made_at", UTCDateTime(), nullable=False),
        sa.CheckConstraint(IS_ROLE, name="ck_pass_phrase_role"),
        sa.ForeignKeyConstraint(["club_id"], ["club.id"], name="fk_pass_phrase_club_id_club"),
        sa.PrimaryKeyConstraint("id", name="pk_pass_phrase"),
        sa.UniqueConstraint("club_id", "role", name="uq_pass_phrase_club_id_role"),
        sqlite_autoincrement=True,
    )
    op.execute(
        "INSERT INTO pass_phrase (club_id, role, salt, hash, parameters, made_at) "
        f"SELECT {club_id}, 'organizer', salt, hash, parameters, made_at FROM director_secret"
    )
    op.drop_table("director_secret")


def _move_sessions(club_id: int) -> None:
    op.create_table(
        "signed_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("club_id", sa.Integer(), nullable=False),
        sa.Column("role", AutoString(), nullable=False),
        sa.Column("token_hash", AutoString(), nullable=False),
        sa.Column("known_hash", AutoString(), nullable=False),
        sa.Column("came_from", AutoString(), nullable=False),
        sa.Column("created_at", UTCDateTime(), nullable=False),
        sa.Column("expires_at", UTCDateTime(), nullable=False),
        sa.Column("revoked_at", UTCDateTime(), nullable=True),
        sa.CheckConstraint(IS_ROLE, name="ck_signed_in_role"),
        sa.ForeignKeyConstraint(["club_id"], ["club.id"], name="fk_signed_in_club_id_club"),
        sa.PrimaryKeyConstraint("id", name="pk_signed_in"),
        sa.UniqueConstraint("token_hash", name="uq_signed_in_token_hash"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_signed_in_club_id", "signed_in", ["club_id"])
    op.create_index("ix_signed_in_known_hash", "signed_in", ["known_hash"])
    op.execute(
        "INSERT INTO signed_in "
        "(club_id, role, token_hash, known_hash, came_from, created_at, expires_at, revoked_at) "
        f"SELECT {club_id}, 'organizer', token_hash, '', '', created_at, expires_at, revoked_at "
        "FROM director_session ORDER BY id"
    )
    op.drop_table("director_session")


def _count_failures_by_account() -> None:
    """What was counted before counts no more: it would have been forgotten within minutes."""
    op.drop_table("failed_sign_in")
    op.create_table(
        "failed_sign_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("club_id", sa.Integer(), nullable=False),
        sa.Column("role", AutoString(), nullable=False),
        sa.Column("source", AutoString(), nullable=False),
        sa.Column("is_known", sa.Boolean(), nullable=False),
        sa.Column("at", UTCDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_failed_sign_in"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_failed_sign_in_club_id", "failed_sign_in", ["club_id"])
