"""Originals entered at the desk: by the line, in rows, pasted; changed by two people; labels photographed."""

from __future__ import annotations

import io
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from takeup.box.folder import look_into
from takeup.lab.phone import box_of_leave, phone_leave
from takeup.lab.photos import photos_of
from takeup.lab.settings import desk_secret
from takeup.plan.quick_lines import Entry
from takeup.tasks.box_items import enter, line_of, listed

ODD = [
    "<script>alert(1)</script>", "{{ 7*7 }} {% x %}", "أفراح العائلة ١٩٨٣", "👩‍👩‍👧 \u202eevil", "../../etc/passwd",
    "%(n)d %s", "a\tb", "'; DROP TABLE box; --",
]  # fmt: skip


def lines(box, desk):
    return {line.original.id: line for line in listed(box["path"], desk.settings)}


def where(box):
    return f"/boxes/{box['number']}/items"


def test_a_line_typed_goes_on_the_list_with_an_id_of_its_letter(maren, box, desk):
    answer = maren.send(where(box), where(box), line="v holidays in the snow 90")
    assert answer.status_code == 200 and 'value="v holidays' not in answer.text
    one = lines(box, desk)["v2"].original
    assert (one.carrier, one.label, one.minutes) == ("vhs", "holidays in the snow", 90)


def test_a_picture_chosen_stands_for_the_letter(maren, box, desk):
    answer = maren.send(where(box), where(box), line="Aunt Ida 60", carrier_as="cassette")
    assert lines(box, desk)["k2"].original.label == "Aunt Ida"
    assert re.search(r'value="cassette" checked', answer.text), "the next line is of the same kind"


@pytest.mark.parametrize("odd", ODD)
def test_odd_text_is_kept_as_text(maren, box, desk, odd):
    answer = maren.send(where(box), where(box), how="rows", row_carrier="print", row_label=odd)
    assert answer.status_code == 200 and "<script>alert" not in answer.text
    assert lines(box, desk)["p2"].original.label == " ".join(odd.replace("\u202e", "").split())


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("wedding 1987", "no carrier known here"),
        ("v x minutes=soon", "minutes"),
        ("v1 again", "in this box already"),
        ("", "nothing to enter"),
        ("v " + "long " * 150, "fit"),
        ("v " + "x" * 3000, "longer than fits"),
    ],
)
def test_what_cannot_be_is_told_and_what_was_typed_stays(maren, box, desk, typed, said):
    before = set(lines(box, desk))
    answer = maren.send(where(box), where(box), line=typed)
    assert answer.status_code == 400 and said in answer.text
    assert set(lines(box, desk)) == before
    assert not typed or typed.strip()[:40] in answer.text


def test_a_paste_is_entered_whole_or_not_at_all_and_its_wrong_lines_are_named(maren, box, desk):
    paste = "carrier\tlabel\tminutes\nvhs\tone\t60\nvhs\ttwo\tsoon\ncassette\tthree\t90"
    before = set(lines(box, desk))
    answer = maren.send(where(box), where(box), how="paste", paste=paste)
    assert answer.status_code == 400 and set(lines(box, desk)) == before
    assert "line 3" in answer.text and "vhs\ttwo\tsoon" in answer.text
    assert maren.send(where(box), where(box), how="paste", paste=paste.replace("soon", "61")).status_code == 200
    assert {"v2", "v3", "k2"} <= set(lines(box, desk))


def test_a_form_sent_twice_enters_one_line(maren, box, desk):
    url, fields = maren.fields(where(box), where(box))
    for _ in range(2):
        assert maren.client.post(url, data=fields | {"line": "k once"}).status_code == 303
    assert [line.original.label for line in lines(box, desk).values()].count("once") == 1


def test_all_columns_of_the_list_can_be_given_and_further_ones_are_kept(maren, box, desk):
    head = (
        "id,carrier,label,minutes,feet,count,condition,notes,sides,speed,system,sound,frame,reduction,keep,shelf mark"
    )
    row = "v9,vhs,all,120,,1,dirty; torn,note,1,ep,pal,hifi,,,copy,B 12"
    assert maren.send(where(box), where(box), how="paste", paste=f"{head}\n{row}").status_code == 200
    line = lines(box, desk)["v9"]
    assert (line.original.condition, line.original.keep, line.columns["shelf mark"]) == (
        ("dirty", "torn"),
        "copy",
        "B 12",
    )
    page = maren.look(f"{where(box)}/v9").text
    assert 'name="own_shelf mark" value="B 12"' in page
    assert maren.send(f"{where(box)}/v9", f"{where(box)}/v9", label="changed").status_code == 200
    assert lines(box, desk)["v9"].columns["shelf mark"] == "B 12"


def test_two_people_changing_one_line_lose_nothing(maren, ola, box, desk):
    url = f"{where(box)}/v1"
    action, fields = maren.fields(url, url)
    assert ola.send(url, url, label="Wedding, Harbour Inn").status_code == 200
    answer = maren.client.post(action, data=fields | {"label": "Wedding of Ida"})
    assert answer.status_code == 409
    assert "Wedding, Harbour Inn" in answer.text and "Wedding of Ida" in answer.text
    assert lines(box, desk)["v1"].original.label == "Wedding, Harbour Inn"


def test_an_id_can_be_changed_until_the_first_capture(maren, box, desk):
    url = f"{where(box)}/v1"
    assert maren.send(url, url, id="tape-7").url.path == f"{where(box)}/tape-7"
    assert "v1" not in lines(box, desk) and lines(box, desk)["tape-7"].original.label == "Wedding"
    assert maren.send(f"{where(box)}/tape-7", f"{where(box)}/tape-7", id="k1").status_code == 400
    look_into(box["path"], desk.settings).record.append("taken", {"stored": "x"}, item="tape-7", key="x")
    answer = maren.send(f"{where(box)}/tape-7", f"{where(box)}/tape-7", id="v8")
    assert answer.status_code == 400 and "its id stays" in answer.text
    assert f"{where(box)}/tape-7/off" not in maren.look(f"{where(box)}/tape-7").text


def test_a_line_taken_off_can_be_brought_back_and_its_id_is_not_given_again(maren, box, desk):
    answer = maren.send(f"{where(box)}/p1", f"{where(box)}/p1/off")
    assert "p1" not in lines(box, desk) and "off the list" in answer.text
    maren.send(where(box), where(box), line="p harbour")
    assert "p2" in lines(box, desk)
    assert maren.send(f"{where(box)}?off=p1", f"{where(box)}/p1/back").status_code == 200
    assert lines(box, desk)["p1"].original.label == "Harbour"


def test_ids_given_at_the_same_moment_are_all_different(box, desk):
    """Twelve people enter a tape at once: twelve ids, v2 to v13, whoever comes first."""
    with ThreadPoolExecutor(6) as pool:
        one = [Entry(columns={"carrier": "vhs"})]
        told = list(pool.map(lambda _: enter(box["path"], one, desk.settings).added[0], range(12)))
    assert sorted(told, key=lambda name: int(name[1:])) == [f"v{n}" for n in range(2, 14)]


def test_a_line_is_read_back_while_it_is_typed(maren, box):
    told = maren.look(f"/boxes/{box['number']}/read-line?line=v+2+snow+60").json()
    assert told == {"said": "2 × · a VHS tape · “snow” · Minutes, all sides: 60"}


def jpeg(width=400, height=300, *, tags=True, seed=3):
    """A noise picture whose tags say where it was taken and that it lies on its side (turn 6)."""
    pixels = np.random.default_rng(seed).integers(0, 255, (height, width, 3), dtype=np.uint8)
    exif = Image.Exif()
    if tags:
        exif[0x0112] = 6
        exif[0x010F] = "PHONE-MAKER"
        exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    made = io.BytesIO()
    Image.fromarray(pixels).save(made, "JPEG", exif=exif)
    return made.getvalue()


def send_photo(person, url, action, data, name="label.jpg", **more):
    where_, fields = person.fields(url, action)
    return person.client.post(where_, data=fields | more, files={"photo": (name, data)}, follow_redirects=True)


def test_a_label_picture_is_turned_upright_and_kept_without_its_tags(maren, box, desk):
    url = f"{where(box)}/v1"
    assert send_photo(maren, url, f"{url}/photo", jpeg(), "../../evil.jpg").status_code == 200
    with desk.lab.reading() as db:
        (row,) = photos_of(db, box["id"], "v1")
    kept = desk.home / row["path"]
    assert kept.resolve().is_relative_to(desk.home.resolve() / "photos")
    with Image.open(kept) as picture:
        assert picture.size == (300, 400) and not picture.getexif()
    assert b"PHONE-MAKER" not in kept.read_bytes()
    assert maren.look(f"/boxes/{box['number']}/photos/{row['id']}").headers["content-type"] == "image/jpeg"
    maren.send(url, f"/boxes/{box['number']}/photos/{row['id']}/away")
    assert not kept.exists()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"x" * 100, "HEIC"),
        (b"GIF89a" + b"x" * 50, "no JPEG or PNG"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no JPEG or PNG"),
        (jpeg()[:900], "cut off or damaged"),
        (b"", "no JPEG or PNG"),
    ],
)
def test_what_is_no_picture_is_told_kindly_and_not_kept(maren, box, desk, data, said):
    url = f"{where(box)}/v1"
    answer = send_photo(maren, url, f"{url}/photo", data)
    assert answer.status_code == 400 and said in answer.text
    with desk.lab.reading() as db:
        assert photos_of(db, box["id"]) == []


def test_a_picture_of_far_too_many_pixels_is_not_opened(maren, box):
    """A PNG whose head claims 60,000 x 60,000 pixels (hand-made: signature, IHDR, nothing else)."""
    import struct
    import zlib

    head = b"IHDR" + struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + head + struct.pack(">I", zlib.crc32(head))
    url = f"{where(box)}/v1"
    answer = send_photo(maren, url, f"{url}/photo", data)
    assert answer.status_code == 400 and ("larger than fits" in answer.text or "damaged" in answer.text)


def test_a_phone_with_leave_brings_pictures_to_one_box_and_sees_nothing_else(maren, somebody, box, desk):
    page = maren.look(f"/boxes/{box['number']}/phone").text
    path = re.search(r"http://[^/\s]+(/phone/[\w.\-]+)", page)[1]
    phone = somebody()
    assert "Wedding" in phone.look(path).text and "Tan Marlow" not in phone.look(path).text
    answer = send_photo(phone, path, path, jpeg(seed=5), item="k1")
    assert answer.status_code == 200 and "has arrived" in answer.text
    with desk.lab.reading() as db:
        assert [row["item"] for row in photos_of(db, box["id"])] == ["k1"] or photos_of(db, box["id"])[0][
            "item"
        ] == "k1"
    assert phone.client.get(f"/boxes/{box['number']}", headers={"accept": "text/html"}).status_code == 303
    assert phone.client.get(f"{path}x").status_code == 403


def test_a_leave_ends_and_cannot_be_made_up(desk, box):
    secret = desk_secret(desk.lab)
    leave = phone_leave(secret, box["id"], 20, at=1000)
    assert box_of_leave(secret, leave, at=1000 + 20 * 60 - 1) == box["id"]
    assert box_of_leave(secret, leave, at=1000 + 20 * 60) is None
    box_id, ends, signature = leave.split(".")
    assert box_of_leave(secret, f"{box_id}.{int(ends) + 60}.{signature}", at=1000) is None
    assert box_of_leave(secret, f"{int(box_id) + 1}.{ends}.{signature}", at=1000) is None
    for odd in ("", ".", "..", "a.b.c", "1.2", "\ud800.1.x"):
        assert box_of_leave(secret, odd) is None


def test_a_visitor_enters_originals_into_the_own_box_only(tan, box, desk):
    assert tan.send(where(box), where(box), line="k letters from Ida").status_code == 200
    assert "k2" in lines(box, desk)
    assert tan.client.post("/boxes/0099/items", data={"line": "k x"}).status_code == 403


def test_there_is_no_such_item_is_404(maren, box):
    for url in (f"{where(box)}/nope", "/boxes/9999/items", f"/boxes/{box['number']}/photos/abc"):
        assert maren.look(url).status_code == 404


def test_the_task_tells_who_changed_a_line(box, desk):
    enter(box["path"], [Entry(columns={"carrier": "vhs"})], replace(desk.settings, who="Maren"))
    fact = look_into(box["path"], desk.settings).record.latest("item-listed", "v2")[-1]
    assert fact.who == "Maren" and line_of(box["path"], "V2", desk.settings).original.carrier == "vhs"
