"""Every table of the lab's database, for SQLite and PostgreSQL alike.

Moments are text, ISO 8601 in UTC with milliseconds (``_at``); days are ``YYYY-MM-DD``; times of day are minutes since
midnight in the lab's own zone (``_min``). A row that two people may edit has a ``version`` that goes up with each
change: a form sends back the one it was filled from, and a stale form changes nothing.
"""

from __future__ import annotations

import sqlalchemy as sa

METADATA = sa.MetaData()


def _table(name: str, *columns: sa.schema.SchemaItem) -> sa.Table:
    return sa.Table(name, METADATA, *columns)


def _id() -> sa.Column:
    return sa.Column("id", sa.Integer, primary_key=True)


def _text(name: str, *, null: bool = False) -> sa.Column:
    return sa.Column(name, sa.Text, nullable=null, server_default=None if null else "")


def _whole(name: str, *, null: bool = False) -> sa.Column:
    return sa.Column(name, sa.BigInteger, nullable=null, server_default=None if null else "0")


def _facts(name: str = "facts") -> sa.Column:
    return sa.Column(name, sa.JSON, nullable=False, server_default="{}")


def _version() -> sa.Column:
    return sa.Column("version", sa.Integer, nullable=False, server_default="1")


def _of(name: str, table: str, *, null: bool = True) -> sa.Column:
    return sa.Column(name, sa.ForeignKey(f"{table}.id"), nullable=null, index=True)


# --- who works here, who is signed in -------------------------------------------------------------------------------
STAFF = _table(
    "staff",
    _id(),
    _text("name"),
    sa.Column("name_folded", sa.Text, nullable=False, unique=True),
    _text("password_hash"),
    _text("role"),  # librarian, helper
    sa.Column("must_change", sa.Boolean, nullable=False, server_default=sa.false()),
    _text("made_at"),
    _text("left_at", null=True),
    _version(),
)
SESSION = _table(
    "session",
    _id(),
    sa.Column("token_sha256", sa.Text, nullable=False, unique=True),
    _text("kind"),  # nobody, staff, visitor, screen
    _of("staff_id", "staff"),
    _of("box_id", "box"),
    sa.Column("station_id", sa.Text, sa.ForeignKey("station.id"), nullable=True),
    _text("form_token"),  # what every form of this session must bring
    _text("lang"),
    _text("made_at"),
    _text("seen_at"),
    _text("ends_at"),
)
ATTEMPT = _table(  # wrong passwords and codes
    "attempt",
    _id(),
    sa.Column("at", sa.Text, nullable=False, index=True),
    sa.Column("key", sa.Text, nullable=False, index=True),  # "name:..." or "address:..."
)
ONCE = _table(  # a form that was sent: sent again it leads to the same place and makes nothing
    "once",
    sa.Column("token", sa.Text, primary_key=True),
    _text("at"),
    _text("location"),
)

# --- people and their boxes -----------------------------------------------------------------------------------------
PERSON = _table(  # personal data: deleted after the lab's set time
    "person",
    _id(),
    _text("name"),
    _text("contact"),
    _text("lang"),
    _text("needs"),  # wheelchair, helper, large print ... in words
    sa.Column("minor", sa.Boolean, nullable=False, server_default=sa.false()),
    _text("made_at"),
    _text("forget_on"),
    _version(),
)
AGREEMENT = _table(
    "agreement", _id(), _of("person_id", "person"), _of("box_id", "box"), _text("form"), _text("lang"), _text("date"),
    sa.Column("adult_for_minor", sa.Boolean, nullable=False, server_default=sa.false()), _text("who"),
)  # fmt: skip
BOX = _table(
    "box",
    _id(),
    sa.Column("number", sa.Text, nullable=False, unique=True),  # "0042", on every label
    _text("folder"),  # below the home's boxes/
    _of("person_id", "person"),
    _text("title"),
    sa.Column("code_sha256", sa.Text, nullable=True, unique=True),  # of the slip's code
    _text("code_until", null=True),
    _text("opened_at"),
    _text("closed_at", null=True),
    _text("drive"),  # what the last trial of the visitor's drive said, in words of the drive task
    _whole("originals_in"),
    _whole("originals_out"),
    _facts(),
    _version(),
)
PHOTO = _table(
    "photo", _id(), _of("box_id", "box"), _text("item"), _text("path"), _text("sha256"), _text("at"), _text("who"),
)  # fmt: skip

# --- stations, hours, visits ----------------------------------------------------------------------------------------
STATION = _table(
    "station",
    sa.Column("id", sa.Text, primary_key=True),  # "cassette-1"
    _text("kind"),  # the contract's station word
    _text("name_en"),
    _text("name_zh"),
    _text("state"),  # up, down
    _text("why"),
    _text("folder"),  # where its capture program writes, as the station sees it
    _whole("screen_mm"),  # width of its screen
    _whole("place"),  # order on pages
    sa.Column("key_sha256", sa.Text, nullable=True, unique=True),
    _text("paired_at", null=True),
    _text("heard_at", null=True),
    sa.Column("screen_code_sha256", sa.Text, nullable=True, unique=True),  # makes a browser this station's screen
    _text("screen_code_until", null=True),
    _facts("screen_look"),  # dim, volume
    sa.Column("pair_sha256", sa.Text, nullable=True, unique=True),  # of the code that its takeup sends once for a key
    _text("pair_until", null=True),
    _version(),
)
DOWN = _table(
    "down", _id(), sa.Column("station_id", sa.Text, sa.ForeignKey("station.id"), nullable=False, index=True),
    _text("first"), _text("last"), _text("why"),
)  # fmt: skip
SETTING = _table(  # opening hours, closures, rules, times of keeping: what the lab may change on a page
    "setting", sa.Column("key", sa.Text, primary_key=True), sa.Column("value", sa.JSON, nullable=False), _version()
)
VISIT = _table(
    "visit",
    _id(),
    sa.Column("station_id", sa.Text, sa.ForeignKey("station.id"), nullable=False, index=True),
    _of("person_id", "person"),
    _of("box_id", "box"),
    sa.Column("day", sa.Text, nullable=False, index=True),
    _whole("from_min"),
    _whole("to_min"),
    _text("state"),  # booked, here, done, no-show, cancelled
    _whole("late_min"),  # so much later than booked, as the visitor said
    _text("brings"),
    _text("booked_by"),
    _text("made_at"),
    _text("came_at", null=True),
    _text("left_at", null=True),
    _text("why"),  # why it was moved, cancelled ...
    _text("changed_at", null=True),
    _version(),
)
STEP = _table(  # each five minutes of a visit once: the database itself refuses a double booking
    "step",
    sa.Column("station_id", sa.Text, sa.ForeignKey("station.id"), primary_key=True),
    sa.Column("day", sa.Text, primary_key=True),
    sa.Column("at_min", sa.Integer, primary_key=True),
    _of("visit_id", "visit", null=False),
)
TURN = _table(  # which station a person has on a day: the database itself keeps the rule of one a day
    "turn",
    _of("person_id", "person", null=False),
    sa.Column("day", sa.Text, nullable=False),
    sa.Column("nth", sa.Integer, nullable=False),
    _of("visit_id", "visit", null=False),
    sa.PrimaryKeyConstraint("person_id", "day", "nth"),
)
WAITING = _table(
    "waiting", _id(), _of("person_id", "person"), _text("kind"), _whole("minutes"), _facts("can"), _text("asked_at"),
    _text("state"),  # waiting, booked, gone
    _text("brings"), _of("visit_id", "visit"), _version(),
)  # fmt: skip

# --- what happens at the stations -----------------------------------------------------------------------------------
SITTING = _table(  # who sits where with which original
    "sitting",
    _id(),
    sa.Column("station_id", sa.Text, sa.ForeignKey("station.id"), nullable=False, index=True),
    _of("box_id", "box"),
    _of("visit_id", "visit"),
    _text("item"),
    _text("part"),
    _whole("step"),  # of the step list
    _whole("longer"),  # how often the visitor asked for more time
    _text("chosen_at"),  # when this original, or this try of it, began: older captures are not shown with it
    _text("begun_at"),
    _text("ended_at", null=True),
    _version(),
)
CAPTURE = _table(  # a file that grows or grew at a station
    "capture",
    sa.Column("id", sa.Text, primary_key=True),  # made by the station's own takeup
    sa.Column("station_id", sa.Text, sa.ForeignKey("station.id"), nullable=False, index=True),
    _of("sitting_id", "sitting"),
    _of("box_id", "box"),
    _text("item"),
    _text("part"),
    _text("name"),  # the file's name at the station
    _text("state"),  # growing, whole, moving, taken, refused, lost
    sa.Column("seconds", sa.Float, nullable=True),
    _whole("bytes"),
    _whole("received"),  # bytes that lie here, verified
    _text("sha256"),
    _text("verdict"),
    _text("stored"),  # path in the box once taken
    _text("why"),
    _text("begun_at"),
    _text("heard_at"),
    _facts(),
    _version(),
)
EVENT = _table(  # in the order in which they came; the station's own number keeps a repeat out
    "event",
    sa.Column("seq", sa.Integer, primary_key=True),
    sa.Column("station_id", sa.Text, sa.ForeignKey("station.id"), nullable=False, index=True),
    sa.Column("capture_id", sa.Text, sa.ForeignKey("capture.id"), nullable=True, index=True),
    sa.Column("stream", sa.Text, nullable=False),  # one run of the station's takeup
    sa.Column("number", sa.BigInteger, nullable=False),
    _text("kind"),  # begin, finding, end, bell, answer ... (decision 0069)
    _text("at"),
    _facts(),
    sa.UniqueConstraint("stream", "number"),
)
TOLD = _table(  # how far a stream of a station's events has come: the next one is this and one more
    "told", sa.Column("stream", sa.Text, primary_key=True), sa.Column("number", sa.BigInteger, nullable=False)
)
ORDER = _table(  # what a station's takeup is to do: remove a file of its own, under a receipt
    "station_order",
    _id(),
    sa.Column("station_id", sa.Text, sa.ForeignKey("station.id"), nullable=False, index=True),
    _of("box_id", "box"),
    _text("kind"),  # clear
    sa.Column("key", sa.Text, nullable=False, unique=True),
    _facts(),
    _text("state"),  # waiting, done, kept
    _text("why"),
    _text("made_at"),
    _text("done_at", null=True),
)
ASKED = _table(  # a finding or bell that stays on a screen until somebody answers
    "asked",
    _id(),
    sa.Column("station_id", sa.Text, sa.ForeignKey("station.id"), nullable=True, index=True),
    sa.Column("capture_id", sa.Text, sa.ForeignKey("capture.id"), nullable=True),
    _of("box_id", "box"),
    _text("item"),
    _text("kind"),  # finding, bell, drift, drive, gift
    _text("key"),
    _text("verdict"),
    _facts(),
    _text("at"),
    _text("answer"),  # again, go-on, ask, accept, done
    _text("why"),
    _text("who"),
    _text("answered_at", null=True),
    _version(),
    sa.UniqueConstraint("kind", "key"),
)

# --- gifts, logbook, work, words ------------------------------------------------------------------------------------
GIFT = _table(
    "gift",
    _id(),
    _of("box_id", "box"),
    _text("kind"),  # originals' captures, interview
    _facts("items"),
    _text("rights"),
    _text("people"),
    _text("people_agree"),
    _text("embargo_until"),
    _text("release"),  # version of the release signed
    _text("state"),  # offered, accepted, declined, withdrawn
    _text("why"),
    _text("who"),
    _text("offered_at"),
    _text("decided_at", null=True),
    _facts(),
    _version(),
)
LOG = _table(
    "log",
    _id(),
    sa.Column("at", sa.Text, nullable=False, index=True),
    _text("kind"),  # incident, cleaning, consumable, opening, lost
    sa.Column("station_id", sa.Text, sa.ForeignKey("station.id"), nullable=True, index=True),
    _of("box_id", "box"),
    _text("text"),
    _facts(),
    _text("who"),
    _text("state"),  # open, done
    _version(),
)
JOB = _table(  # long work, done one after another by the desk's workers
    "job",
    _id(),
    _text("kind"),
    _of("box_id", "box"),
    _facts("asked"),
    sa.Column("state", sa.Text, nullable=False, index=True),  # waiting, running, done, stopped
    _facts("progress"),
    _facts("answer"),
    _text("by"),
    _text("made_at"),
    _text("begun_at", null=True),
    _text("ended_at", null=True),
    _whole("tries"),
    _version(),
)
WORDING = _table(  # the lab's own texts: agreement, step lists, release; each saved version stays
    "wording", _id(), _text("key"), _text("lang"), _whole("edition"), _text("body"), _text("made_at"), _text("who"),
    sa.UniqueConstraint("key", "lang", "edition"),
)  # fmt: skip
FIGURE = _table(  # what remains for the funder when the person is forgotten: figures, no names
    "figure", _id(), _text("day"), _text("what"), _text("kind"), _whole("count"), _facts(),
)  # fmt: skip
