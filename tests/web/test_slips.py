"""Slips and stickers: what their codes say is read back by OpenCV, which knows nothing of how they were made."""

from __future__ import annotations

import base64
import re
from datetime import timedelta

import cv2
import numpy as np
import pytest
import pyvips

from takeup.lab.boxes import box_numbered
from takeup.lab.hours import here, zone_of
from takeup.lab.port import add
from takeup.lab.schema import VISIT
from takeup.lab.sessions import box_of_code
from takeup.lab.settings import keep_setting
from takeup.pages.qr import qr_svg
from takeup.pages.slips import sticker_text


def drawn(svg, side_px=400):
    """The picture as pixels, black on white."""
    first = pyvips.Image.svgload_buffer(svg.encode())
    picture = pyvips.Image.svgload_buffer(svg.encode(), scale=side_px / first.width).flatten(background=255)
    pixels = np.ndarray((picture.height, picture.width, picture.bands), np.uint8, picture.write_to_memory())
    return pixels[:, :, :3].copy()


def read_back(svg):
    """What an independent reader finds, looking from a few distances as a phone does: at one it misses some codes."""
    looks = (cv2.QRCodeDetector().detectAndDecode(drawn(svg, side_px))[0] for side_px in (400, 520, 330, 640))
    return next((text for text in looks if text), "")


def codes_in(html):
    return [base64.b64decode(found).decode() for found in re.findall(r"data:image/svg\+xml;base64,([\w+/=]+)", html)]


@pytest.mark.parametrize(
    "text", ["0042/v1", "0001/a.very-long_id-of-forty-signs-12345678", "http://10.0.0.7:8080/code?slip=K7M2-Q9TX"]
)
@pytest.mark.parametrize("sturdy", [False, True])
def test_a_code_says_what_it_was_given(text, sturdy):
    assert read_back(qr_svg(text, sturdy=sturdy)) == text


def test_a_sturdy_code_is_read_with_a_corner_worn_off():
    """Level Q mends a quarter of the code words; a tenth of the picture is wiped out at the lower right."""
    pixels = drawn(qr_svg("0042/v1", sturdy=True))
    side = pixels.shape[0]
    pixels[int(side * 0.62) : int(side * 0.8), int(side * 0.62) : int(side * 0.8)] = 255
    assert cv2.QRCodeDetector().detectAndDecode(pixels)[0] == "0042/v1"


def test_the_slip_carries_a_new_code_that_opens_the_box_and_ends_the_old_one(maren, somebody, box, desk):
    url = f"/boxes/{box['number']}/slips"
    page = maren.send(url, f"{url}/visit").text
    code = re.search(r"the-code\">([\w-]+)<", page)[1]
    assert read_back(codes_in(page)[0]) == f"http://testserver/code?slip={code}"
    with desk.lab.reading() as db:
        assert box_of_code(db, code)["id"] == box["id"] and box_of_code(db, box["code"]) is None
    visitor = somebody()
    assert f'value="{code}"' in visitor.look(f"/code?slip={code}").text
    assert visitor.send("/code", code=code).url.path == "/mine"


def test_the_code_is_good_until_the_visits_end(maren, box, desk):
    """A visit tomorrow until 13:00 by the lab's clock (here: UTC)."""
    with desk.lab.writing() as db:
        keep_setting(db, "zone", "UTC", 0)
        day = (here(zone_of(db))[0] + timedelta(days=1)).isoformat()
        number = add(
            db, VISIT, station_id="video-1", person_id=box["person_id"], box_id=box["id"], day=day,
            from_min=600, to_min=780, state="booked",
        )  # fmt: skip
    url = f"/boxes/{box['number']}/slips"
    assert "13:00" in maren.look(url).text
    maren.send(url, f"{url}/visit", visit=str(number))
    with desk.lab.reading() as db:
        assert box_numbered(db, box["number"])["code_until"] == f"{day}T13:00:00.000+00:00"


def test_the_slip_is_in_the_visitors_language_whatever_staffs_is(maren, box):
    url = f"/boxes/{box['number']}/slips"
    page = maren.send(url, f"{url}/visit", slip_lang="zh-Hans").text
    assert '<article class="slip till" lang="zh-Hans">' in page and "用这个代码" in page and ">Print<" in page


def test_every_original_has_a_sticker_whose_code_says_box_and_item(maren, box):
    page = maren.look(f"/boxes/{box['number']}/slips/labels").text
    told = [read_back(svg) for svg in codes_in(page)]
    assert told == [sticker_text(box["number"], name) for name in ("k1", "p1", "v1")]
    assert all(text.isascii() for text in told)
    assert len(codes_in(maren.look(f"/boxes/{box['number']}/slips/labels?item=V1").text)) == 1


def test_stickers_of_odd_labels_stay_text(maren, box):
    where = f"/boxes/{box['number']}/items"
    maren.send(
        where, where, how="rows", row_carrier="print", row_label="<img src=x onerror=alert(1)> أفراح " + "長" * 200
    )
    page = maren.look(f"/boxes/{box['number']}/slips/labels").text
    assert "<img src=x" not in page and "…" in page


def test_slips_are_for_staff(tan, box):
    for page in ("slips", "slips/labels"):
        assert tan.look(f"/boxes/{box['number']}/{page}").status_code == 403
