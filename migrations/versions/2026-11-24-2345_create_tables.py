"""The first tables: days, rosters, plans, the logbook and the director's access."""

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString, UTCDateTime

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


_FLYING_AIRCRAFT = "fk_pilot_flying_aircraft_id_aircraft"


def _flying_aircraft() -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["flying_aircraft_id"], ["aircraft.id"], name=_FLYING_AIRCRAFT, ondelete="SET NULL"
    )


def upgrade() -> None:
    # Pilot and aircraft point at each other: SQLite takes a table that is yet to come only in the first table's
    # own definition, PostgreSQL only afterwards.
    is_sqlite = op.get_bind().dialect.name == "sqlite"
    op.create_table(
        "director_secret",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("salt", sa.LargeBinary(), nullable=False),
        sa.Column("hash", sa.LargeBinary(), nullable=False),
        sa.Column("parameters", AutoString(), nullable=False),
        sa.Column("made_at", UTCDateTime(), nullable=False),
        sa.CheckConstraint("id = 1", name="ck_director_secret_only_one"),
        sa.PrimaryKeyConstraint("id", name="pk_director_secret"),
    )
    op.create_table(
        "director_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", AutoString(), nullable=False),
        sa.Column("created_at", UTCDateTime(), nullable=False),
        sa.Column("expires_at", UTCDateTime(), nullable=False),
        sa.Column("revoked_at", UTCDateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_director_session"),
        sa.UniqueConstraint("token_hash", name="uq_director_session_token_hash"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "failed_sign_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("address", AutoString(), nullable=False),
        sa.Column("at", UTCDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_failed_sign_in"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_failed_sign_in_address", "failed_sign_in", ["address"])
    op.create_table(
        "field_day",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", AutoString(), nullable=False),
        sa.Column("name", AutoString(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("time_zone", AutoString(), nullable=False),
        sa.Column("aircraft", sa.Integer(), nullable=False),
        sa.Column("rounds", sa.Integer(), nullable=False),
        sa.Column("heat_minutes", sa.Integer(), nullable=False),
        sa.Column("settings_json", AutoString(), nullable=False),
        sa.Column("rule_set_json", AutoString(), nullable=True),
        sa.Column("responsibility", AutoString(), nullable=True),
        sa.Column("base_url", AutoString(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", UTCDateTime(), nullable=False),
        sa.Column("archived_at", UTCDateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_field_day"),
        sa.UniqueConstraint("code", name="uq_field_day_code"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("content_json", AutoString(), nullable=False),
        sa.Column("result_json", AutoString(), nullable=False),
        sa.Column("undo_json", AutoString(), nullable=False),
        sa.Column("based_on_number", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", UTCDateTime(), nullable=False),
        sa.ForeignKeyConstraint(["field_day_id"], ["field_day.id"], name="fk_draft_field_day_id_field_day"),
        sa.PrimaryKeyConstraint("id", name="pk_draft"),
        sa.UniqueConstraint("field_day_id", name="uq_draft_field_day_id"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "logbook_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=True),
        sa.Column("at", UTCDateTime(), nullable=False),
        sa.Column("who", AutoString(), nullable=False),
        sa.Column("action", AutoString(), nullable=False),
        sa.Column("text", AutoString(), nullable=False),
        sa.Column("data_json", AutoString(), nullable=False),
        sa.ForeignKeyConstraint(
            ["field_day_id"], ["field_day.id"], name="fk_logbook_entry_field_day_id_field_day"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_logbook_entry"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_logbook_entry_field_day_id", "logbook_entry", ["field_day_id"])
    op.create_table(
        "pilot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("callsign", AutoString(), nullable=False),
        sa.Column("callsign_key", AutoString(), nullable=False),
        sa.Column("name", AutoString(), nullable=False),
        sa.Column("station_id", AutoString(), nullable=False),
        sa.Column("note", AutoString(), nullable=False),
        sa.Column("adult_present", sa.Boolean(), nullable=False),
        sa.Column("spotter", AutoString(), nullable=False),
        sa.Column("apart", AutoString(), nullable=False),
        sa.Column("together", AutoString(), nullable=False),
        sa.Column("after_heat", sa.Integer(), nullable=True),
        sa.Column("before_heat", sa.Integer(), nullable=True),
        sa.Column("heat", sa.Integer(), nullable=True),
        sa.Column("pin", AutoString(), nullable=False),
        sa.Column("state", AutoString(), nullable=False),
        sa.Column("link_token", AutoString(), nullable=False),
        sa.Column("join_id", AutoString(), nullable=True),
        sa.Column("provisional_mhz", sa.Integer(), nullable=True),
        sa.Column("flying_aircraft_id", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", UTCDateTime(), nullable=False),
        sa.Column("updated_at", UTCDateTime(), nullable=False),
        sa.CheckConstraint("state IN ('checked in', 'withdrawn', 'no-show')", name="ck_pilot_state"),
        sa.ForeignKeyConstraint(["field_day_id"], ["field_day.id"], name="fk_pilot_field_day_id_field_day"),
        *([_flying_aircraft()] if is_sqlite else []),
        sa.PrimaryKeyConstraint("id", name="pk_pilot"),
        sa.UniqueConstraint("field_day_id", "callsign_key", name="uq_pilot_field_day_id_callsign_key"),
        sa.UniqueConstraint("field_day_id", "join_id", name="uq_pilot_field_day_id_join_id"),
        sa.UniqueConstraint("link_token", name="uq_pilot_link_token"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "published_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_day_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("snapshot_json", AutoString(), nullable=False),
        sa.Column("model_version", AutoString(), nullable=False),
        sa.Column("published_at", UTCDateTime(), nullable=False),
        sa.Column("published_by", AutoString(), nullable=False),
        sa.Column("replaces_number", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["field_day_id"], ["field_day.id"], name="fk_published_plan_field_day_id_field_day"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_published_plan"),
        sa.UniqueConstraint("field_day_id", "number", name="uq_published_plan_field_day_id_number"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "aircraft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("pilot_id", sa.Integer(), nullable=False),
        sa.Column("name", AutoString(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("tunes", AutoString(), nullable=False),
        sa.Column("receives", AutoString(), nullable=False),
        sa.Column("power_mw", AutoString(), nullable=False),
        sa.Column("pit_power_mw", sa.Float(), nullable=True),
        sa.Column("antenna", AutoString(), nullable=False),
        sa.Column("rx_antenna", AutoString(), nullable=False),
        sa.Column("antenna_gain_dbi", sa.Float(), nullable=False),
        sa.Column("video", AutoString(), nullable=False),
        sa.Column("centre_mhz", sa.Float(), nullable=True),
        sa.Column("width_mhz", sa.Float(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("video IN ('analogue', 'other')", name="ck_aircraft_video"),
        sa.ForeignKeyConstraint(
            ["pilot_id"], ["pilot.id"], name="fk_aircraft_pilot_id_pilot", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_aircraft"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_aircraft_pilot_id", "aircraft", ["pilot_id"])
    if not is_sqlite:
        op.create_foreign_key(
            _FLYING_AIRCRAFT, "pilot", "aircraft", ["flying_aircraft_id"], ["id"], ondelete="SET NULL"
        )
