"""Plans against hand arithmetic; the arithmetic stands in each test."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make.command import takeup

from takeup.plan.job import plan_drive, plan_job
from takeup.plan.minutes import Spread, plan_minutes
from takeup.plan.storage import Room
from takeup.plan.visits import VisitRules, plan_visits
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tables.rows import Row, Rows

ROWS = load_rows()
Z = 1.2815515655446004  # 90 % point of the standard normal distribution


def with_rows(**values):
    changed = {key.replace("__", "."): value for key, value in values.items()}
    return Rows(
        dict(ROWS) | {key: Row(key=key, value=value, grade="house", source="house") for key, value in changed.items()}
    )


def planned(*originals, rows=ROWS):
    return plan_job(originals, rows)


# Sizes: sound check values, section 5: 96 kHz, 24 bit, stereo: 576,000 bytes/s; C60 2074 MB, C90 3110 MB, C120 4147 MB.
@pytest.mark.parametrize(("minutes", "megabytes"), [(60, 2074), (90, 3110), (120, 4147)])
def test_cassette_master_bytes_are_those_of_96_kHz_24_bit_stereo(minutes, megabytes):
    item = planned(Original(id="t", carrier="cassette", minutes=minutes)).items[0]
    assert item.room.master_bytes == minutes * 60 * 576_000
    assert round(item.room.master_bytes / 1e6) == megabytes
    assert item.room.copy_bytes == minutes * 60 * 24_000  # 192 kb/s


def test_video_master_is_planned_at_45_and_held_room_for_at_55_gigabytes_an_hour():
    item = planned(Original(id="v", carrier="vhs", minutes=120)).items[0]  # video check values 3.1
    assert item.room.master_bytes == 90_000_000_000
    assert item.room.master_safe_bytes == 110_000_000_000


# Scans check values, section 6: 4 x 6 in at 600 ppi 25.92 MB; 35 mm frame at 3000 ppi 4252 x 2835, 72.3 MB in 16 bit.
def test_scan_bytes_are_their_pixels():
    prints, slides = planned(
        Original(id="p", carrier="print", count=10), Original(id="s", carrier="slide", count=1)
    ).items
    assert prints.room.master_bytes == 10 * 2400 * 3600 * 3 == 259_200_000
    assert (slides.settings["width_px"], slides.settings["height_px"]) == (4252, 2835)
    assert slides.room.master_bytes == 4252 * 2835 * 3 * 2
    assert slides.room.master_bytes / 1e6 == pytest.approx(72.3, abs=0.05)


# Film-and-storage check values 1.3, the whole table: minutes and seconds on the screen.
TABLE = {
    25: ("2:05 1:51 1:23", "1:52 1:40 1:15"),
    50: ("4:10 3:42 2:47", "3:45 3:20 2:30"),
    100: ("8:20 7:24 5:33", "7:30 6:40 5:00"),
    200: ("16:40 14:49 11:07", "15:00 13:20 10:00"),
    300: ("25:00 22:13 16:40", "22:30 20:00 15:00"),
    400: ("33:20 29:38 22:13", "30:00 26:40 20:00"),
}
CASES = [
    (carrier, feet, speed, time)
    for feet, both in TABLE.items()
    for carrier, row in zip(("8mm", "super8"), both)
    for speed, time in zip((16, 18, 24), row.split())
]


@pytest.mark.parametrize(("carrier", "feet", "speed", "time"), CASES)
def test_film_screen_time_is_the_published_table(carrier, feet, speed, time):
    item = planned(Original(id="f", carrier=carrier, feet=feet, speed=str(speed))).items[0]
    minutes, seconds = map(int, time.split(":"))
    assert item.settings["pictures"] == feet * {"8mm": 80, "super8": 72}[carrier]
    assert item.settings["speed"] == speed
    assert round(item.settings["screen_seconds"]) == 60 * minutes + seconds


def test_sixty_metres_are_not_two_hundred_feet():
    item = planned(Original(id="f", carrier="super8", feet=60 / 0.3048)).items[0]  # the trade table: 13:07 at 18
    assert round(item.settings["screen_seconds"]) in (13 * 60 + 7, 13 * 60 + 8)


def test_film_busies_the_scanner_at_the_scanners_own_pace():
    """50 ft of Super 8 at 2 pictures/s: 3600 / 2 = 30 min; 400 ft: 4 h. Wind 5 %: 31.5 and 252 min; set-up 15 more."""
    rows = with_rows(
        times__super8__pictures_per_second=2.0, times__super8__wind_share=0.05, times__super8__setup_likely=15
    )
    assert plan_minutes(Original(id="f", carrier="super8", feet=50), rows).run.likely == pytest.approx(31.5)
    assert plan_minutes(Original(id="f", carrier="super8", feet=400), rows).run.likely == pytest.approx(252)
    assert planned(Original(id="f", carrier="super8", feet=50), rows=rows).items[0].minutes_likely == 46.5


def test_cassette_minutes_by_hand():
    """C60, two sides: set-up 6, play 60 x 1.03, wind 60 x 0.04, one turn 2: 6 + 61.8 + 2.4 + 2 = 72.2 min.

    Deviations: set-up (12 - 6), play 60 x (1.2 - 1.03) = 10.2, turn (4 - 2), all over 1.2816 and added as squares:
    sqrt(36 + 104.04 + 4) = 12.0017, so nine in ten: 84.2 min.
    """
    item = planned(Original(id="t", carrier="cassette", minutes=60)).items[0]
    assert (item.minutes_likely, item.minutes_safe) == (72.2, 84.2)


def test_a_visit_is_the_nine_in_ten_figure_of_its_sum():
    """Two such cassettes: 144.4 + sqrt(2 x 144.04) = 161.37, less than 2 x 84.2 = 168.4; booked 180 min."""
    job = planned(*(Original(id=name, carrier="cassette", minutes=60) for name in "ab"))
    (visit,) = job.visits
    assert visit.time.safe(Z) == pytest.approx(144.4 + math.sqrt(2 * 144.04))
    assert visit.time.safe(Z) < sum(item.minutes_safe for item in job.items)
    assert visit.minutes == 180


def test_an_item_longer_than_one_visit_is_divided_and_said():
    job = planned(Original(id="v", carrier="vhs", minutes=480))
    assert job.items[0].parts == len(job.visits) >= 2
    assert all(visit.minutes <= 240 for visit in job.visits)
    assert [visit.stretches[0].part for visit in job.visits] == list(range(1, len(job.visits) + 1))


def test_unknown_length_is_planned_for_as_usual_and_wider():
    known = planned(Original(id="t", carrier="cassette", minutes=60)).items[0]
    unknown = planned(Original(id="t", carrier="cassette")).items[0]
    assert dict(unknown.assumed) == {"minutes": 60}
    assert unknown.minutes_likely == known.minutes_likely
    assert unknown.minutes_safe > known.minutes_safe


def test_stated_minutes_are_playing_minutes_whatever_the_speed():
    sp, ep = (plan_minutes(Original(id="v", carrier="vhs", minutes=120, speed=speed), ROWS) for speed in ("sp", "ep"))
    assert sp == ep
    unknown = plan_minutes(Original(id="v", carrier="vhs", speed="ep"), ROWS)
    assert unknown.extent.likely == 3 * plan_minutes(Original(id="v", carrier="vhs"), ROWS).extent.likely


@pytest.mark.parametrize(
    ("keep", "master", "copy"), [("both", True, True), ("copy", False, True), ("master", True, False)]
)
def test_keep_decides_what_the_drive_must_hold(keep, master, copy):
    room = planned(Original(id="t", carrier="cassette", minutes=60, keep=keep)).items[0].room
    assert (room.master_bytes > 0, room.copy_bytes > 0) == (master, copy)


def room(master, copy, largest):
    return Room(
        master_bytes=master, copy_bytes=copy, master_safe_bytes=master, copy_safe_bytes=copy, largest_bytes=largest
    )


def test_drive_leaves_a_tenth_free_and_names_the_smallest_that_holds_it():
    """50 GB and 7 GB and 20 MB for the page, over 0.9: 63,355,555,556 bytes: a 64 GB drive; copies alone 7.8 GB: 32."""
    drive = plan_drive([room(50_000_000_000, 7_000_000_000, 4_000_000_000)], ROWS)
    assert drive.bytes == math.ceil(57_020_000_000 / 0.9)
    assert drive.bring_bytes == 64_000_000_000
    assert drive.copies_only_bytes == math.ceil(7_020_000_000 / 0.9)
    assert drive.copies_only_bring_bytes == 32_000_000_000


@pytest.mark.parametrize(
    ("largest", "why"), [(4_294_967_294, "drive.small-files"), (4_294_967_295, "drive.large-files")]
)
def test_drive_is_exfat_and_says_whether_it_must_be(largest, why):
    drive = plan_drive([room(largest, 1, largest)], ROWS)
    assert (drive.filesystem, drive.why) == ("exfat", why)


def test_nothing_usual_holds_a_hundred_terabytes():
    assert plan_drive([room(10**14, 0, 10**14)], ROWS).bring_bytes is None


LISTS = st.lists(
    st.tuples(st.sampled_from(["vhs", "cassette", "super8", "print", "document"]), st.floats(1, 700)), max_size=10
)


@settings(max_examples=60, deadline=None)
@given(LISTS)
def test_visits_hold_every_item_once_and_never_pass_the_longest(entries):
    busy = []
    for at, (carrier, amount) in enumerate(entries):
        original = Original(id=str(at), carrier=carrier, minutes=amount, feet=amount, count=max(1, int(amount)))
        busy.append((original.id, ROWS.value(f"carriers.{carrier}.station"), plan_minutes(original, ROWS)))
    rules = VisitRules(step=30, longest=240, nine_in_ten=Z)
    visits = plan_visits(busy, rules)
    for visit in visits:
        assert 0 < visit.minutes <= 240 and visit.minutes % 30 == 0
        assert visit.time.safe(Z) <= visit.minutes < visit.time.safe(Z) + 30 + 1e-6
    for name, station, one in busy:
        parts = [stretch for visit in visits for stretch in visit.stretches if stretch.item == name]
        assert [part.part for part in parts] == list(range(1, parts[0].parts + 1))
        assert sum(part.time.likely - one.setup.likely for part in parts) == pytest.approx(one.run.likely)
        assert {visit.station for visit in visits if any(s.item == name for s in visit.stretches)} == {station}


@given(st.lists(st.tuples(st.floats(0, 500), st.floats(0, 100)), min_size=2, max_size=6))
def test_a_sum_is_never_longer_than_the_sum_of_its_safe_parts(parts):
    spreads = [Spread(likely, deviation) for likely, deviation in parts]
    assert sum(spreads, Spread()).safe(Z) <= sum(spread.safe(Z) for spread in spreads) + 1e-9


def test_plan_answers_the_whole_list_in_the_contracts_words(tmp_path):
    path = tmp_path / "items.csv"
    path.write_text(
        "id,carrier,minutes,condition,feet\na,cassette,60,,\nb,vhs,60,mould,\nc,other,,,\nd,super8,,,50\n", "utf-8"
    )
    ran = takeup("plan", path, "--json")
    assert ran.status == 0
    answer = ran.json
    assert [item["id"] for item in answer["items"]] == ["a", "b", "c", "d"]
    for item in answer["items"]:
        assert {"station", "minutes_likely", "minutes_safe", "master_bytes", "copy_bytes", "settings"} <= set(item)
    assert {name for visit in answer["visits"] for name in visit["items"]} == {"a", "d"}
    assert [entry["id"] for entry in answer["left_out"]] == ["b", "c"]
    film = answer["items"][3]["settings"]
    assert (film["pictures"], film["speed"], film["screen_seconds"]) == (3600, 18, 200.0)  # check values 1.3: 3:20
    assert {"bytes", "copies_only_bytes", "filesystem", "why"} <= set(answer["drive"])
    assert takeup("plan", tmp_path / "none.csv").status == 2


def test_a_line_of_several_tapes_is_set_up_for_each_and_holds_as_many_usual_lengths():
    one, three = (plan_minutes(Original(id="t", carrier="vhs", count=count), ROWS) for count in (1, 3))
    assert three.extent.likely == 3 * one.extent.likely
    assert three.whole.likely == pytest.approx(3 * one.whole.likely)


def test_a_long_list_is_planned_without_waiting():
    """A thousand tapes: every visit full or the last, found in one pass."""
    job = planned(*(Original(id=str(at), carrier="cassette", minutes=60) for at in range(1000)))
    assert sum(len(visit.stretches) for visit in job.visits) == 1000
    assert {len(visit.stretches) for visit in job.visits[:-1]} == {max(len(visit.stretches) for visit in job.visits)}
