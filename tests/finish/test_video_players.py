"""Masters and copies of videos in the hands of others: OpenCV's reader, and Chromium in the parcel's own page."""

from fractions import Fraction

import av
import cv2
import numpy as np
import pytest
from make.captures import captured_box, put_capture, report_of, tape_frame
from make.captures import scene as scene_of

from takeup.media.postcards import moving_postcards
from takeup.settings import Settings
from takeup.streams import Finding, Original
from takeup.tasks.finish import finish_box
from takeup.tasks.pack import pack
from web.browsing import becomes, chromium, in_a_browser

PICTURES = 14
DARK, BLUE, SNOW = range(3), range(3, 5), range(5, 7)  # show nothing
BRIGHT = range(10, 14)


def luma_of(number, rng):
    if number in DARK:
        return np.clip(rng.normal(16, 1.5, (576, 720)), 1, 254)
    if number in BLUE:
        return np.full((576, 720), 41.0)
    if number in SNOW:
        return np.clip(rng.normal(110, 60, (576, 720)), 1, 254)
    return np.clip(scene_of(number / 25, 576) * (1.0 if number in BRIGHT else 0.15) + 14, 16, 235)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A tape that begins black, blue, with snow, then a dim scene, then a bright one; finished and packed."""
    folder = tmp_path_factory.mktemp("players")
    rng = np.random.default_rng(4)
    with av.open(str(folder / "t.mov"), "w") as out:
        stream = out.add_stream("rawvideo", rate=25)
        stream.width, stream.height, stream.pix_fmt = 720, 576, "uyvy422"
        sound = out.add_stream("pcm_s16le", rate=48000, layout="stereo")
        for number in range(PICTURES):
            frame = tape_frame(luma_of(number, rng).astype(np.uint8), "uyvy422", rng)
            frame.pts, frame.time_base = number, Fraction(1, 25)
            tone = 3000 * np.sin(2 * np.pi * 440 * np.arange(1920 * number, 1920 * (number + 1)) / 48000)
            beep = av.AudioFrame.from_ndarray(np.repeat(tone, 2)[None].astype(np.int16), "s16", "stereo")
            beep.sample_rate, beep.pts, beep.time_base = 48000, 1920 * number, Fraction(1, 48000)
            for packet in [*stream.encode(frame), *sound.encode(beep)]:
                out.mux(packet)
        for packet in [*stream.encode(None), *sound.encode(None)]:
            out.mux(packet)
    box = captured_box(folder / "box", [Original(id="v1", carrier="vhs", label="Beach")])
    black = Finding(name="black", verdict="good", again="no", from_s=0.0, to_s=0.12)
    report = report_of("video", PICTURES / 25, black, field_order="progressive")
    put_capture(box, "v1", folder / "t.mov", "", report)
    files = {one.made.role: one.made for one in finish_box(box.folder, Settings()).made}
    return box.folder, files


def test_opencv_reads_master_and_copy(made):
    """Every picture, its size, and the same picture in both but for the coder."""
    _, files = made
    seen = {}
    for role, count in (("master", PICTURES), ("copy", PICTURES)):
        video = cv2.VideoCapture(str(files[role].path))
        assert (video.get(cv2.CAP_PROP_FRAME_WIDTH), video.get(cv2.CAP_PROP_FRAME_HEIGHT)) == (720, 576)
        assert video.get(cv2.CAP_PROP_FPS) == pytest.approx(25)
        pictures = []
        while (read := video.read())[0]:
            pictures.append(read[1])
        assert len(pictures) == count
        seen[role] = pictures
        ratio = video.get(cv2.CAP_PROP_SAR_NUM) / max(1, video.get(cv2.CAP_PROP_SAR_DEN))
        assert ratio == pytest.approx(12 / 11, abs=1e-3)
    grey = [cv2.cvtColor(seen[role][-2], cv2.COLOR_BGR2GRAY).astype(int) for role in seen]
    assert np.abs(grey[0] - grey[1]).mean() < 6


def test_poster_shows_the_bright_scene(made):
    """Never the black, blue, snow or dim beginning: the telling picture is one of the last four."""
    _, files = made
    at_s = files["copy"].settings["poster_s"]
    assert BRIGHT[0] / 25 <= at_s < PICTURES / 25
    still, row = moving_postcards(files["copy"].path, 320)  # the letter shows the same
    assert still.width == 320 and row.width == 8 * 160
    video = cv2.VideoCapture(str(files["copy"].path))
    pictures = [video.read()[1] for _ in range(PICTURES)]
    small = cv2.imdecode(np.frombuffer(still.jpeg, np.uint8), cv2.IMREAD_GRAYSCALE)
    meant = cv2.cvtColor(pictures[round(at_s * 25)], cv2.COLOR_BGR2GRAY)
    pair = [cv2.resize(one, (64, 48), interpolation=cv2.INTER_AREA).ravel() for one in (small, meant)]
    assert np.corrcoef(*pair)[0, 1] > 0.95


@in_a_browser
def test_chromium_plays_the_copy_in_the_parcels_page(made, tmp_path):
    """It plays to its end in its right shape, and what stands there then is the copy's last picture."""
    folder, files = made
    packed = pack(folder, Settings(), only_copies=True)
    film = "document.querySelector('video')"
    with chromium() as browser:
        page = browser.new_page(viewport={"width": 900, "height": 900})
        page.goto((packed.parcel / "data" / "open-me.html").as_uri())
        page.evaluate(f"() => {{ {film}.muted = true; {film}.play(); }}")
        assert becomes(page, f"{film}.ended")
        wide, high, seconds = page.evaluate(f"() => [{film}.videoWidth, {film}.videoHeight, {film}.duration]")
        assert wide / high == pytest.approx(720 * 12 / 11 / 576, abs=0.01)
        assert seconds == pytest.approx(PICTURES / 25, abs=0.05)
        assert page.evaluate(f"() => {film}.error") is None
        page.evaluate(f"() => {{ {film}.controls = false; }}")
        page.locator("video").screenshot(path=tmp_path / "film.png")
        page.close()
    video = cv2.VideoCapture(str(files["copy"].path))
    pictures = []
    while (read := video.read())[0]:
        pictures.append(read[1])
    shown, last = (cv2.resize(one, (64, 48), interpolation=cv2.INTER_AREA) for one in (_shot(tmp_path), pictures[-1]))
    alike = np.corrcoef(shown.mean(axis=2).ravel(), last.mean(axis=2).ravel())[0, 1]
    assert alike > 0.8


def _shot(folder):
    return cv2.imread(str(folder / "film.png"))
