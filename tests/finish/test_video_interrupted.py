"""Work on videos that is killed, stopped or finds no room: nothing half made stays, the next run makes it whole."""

import os
import shutil
import signal

import av
import pytest
from make.captures import captured_box, put_capture, report_of, tree, write_tape
from make.kills import killed_at_every_step, quick_folder
from make.small_disk import small_disk

from takeup.box.folder import look_into
from takeup.errors import NotPossible
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.ears import Ears
from takeup.tasks.finish import finish_box

PICTURES = 5


def make_box(folder, items=("v1",), lines=48, keep="both"):
    pictures = PICTURES
    box = captured_box(folder / "box", [Original(id=item, carrier="vhs", keep=keep) for item in items])
    for item in items:
        capture = write_tape(folder / f"{item}.mov", pictures=pictures, lines=lines, seed=len(item))
        put_capture(box, item, capture, "", report_of("video", pictures / 25, field_order="top"))
    return box.folder


def nothing_half_made(folder):
    """Every name under masters and copies is whole: it decodes to its end; parts of ours carry their mark."""
    for path in [*folder.glob("masters/*/*"), *folder.glob("copies/*/*")]:
        if ".takeup-part" not in path.name:
            with av.open(str(path)) as container:
                count = sum(1 for _ in container.decode(video=0))
            assert count == (PICTURES if path.suffix == ".mkv" else 2 * PICTURES), path


def whole(folder, items=("v1",)):
    """All files are there as the record has them, and nothing else."""
    facts = [fact.facts for fact in look_into(folder, Settings()).record.latest("made")]
    wanted = [name for item in items for name in (f"copies/{item}/{item}.mp4", f"masters/{item}/{item}.mkv")]
    assert sorted(fact["path"] for fact in facts) == sorted(wanted)
    found = tree(folder / "masters") | tree(folder / "copies")
    assert {fact["path"].split("/", 1)[1]: fact["sha256"] for fact in facts} == found
    nothing_half_made(folder)


class Killing(Ears):
    """Ends the process at its n-th word of progress."""

    def __init__(self, left):
        self.left = left

    def progress(self, what, done, total, unit):
        self.left -= 1
        if self.left == 0:
            os.kill(os.getpid(), signal.SIGKILL)


def killed_at(folder, word):
    child = os.fork()
    if child == 0:
        try:
            finish_box(folder, Settings(), ears=Killing(word))
        finally:
            os._exit(0)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def test_killed_while_pictures_are_coded_or_compared(tmp_path):
    """At words of progress all through master, proof, sound and copy."""
    with quick_folder() as room:
        first = make_box(room)
        captures, kills = tree(first / "captures"), 0
        for word in range(2, 400, 10):
            folder = room / "again"
            shutil.copytree(first, folder)
            killed = killed_at(folder, word)
            assert tree(folder / "captures") == captures
            nothing_half_made(folder)
            kills += killed
            if not killed or kills % 2 == 0:
                finish_box(folder, Settings())
                whole(folder)
            shutil.rmtree(folder)
            if not killed:
                break
        assert kills >= 3


def test_killed_at_the_steps_between(tmp_path):
    """Opening, flushing, renaming, writing down: a second run makes whole what the first left."""
    with quick_folder() as room:
        first = make_box(room)
        folder, kills = room / "again", 0
        shutil.copytree(first, folder)
        for _ in killed_at_every_step(lambda: finish_box(folder, Settings()), every=13):
            kills += 1
            nothing_half_made(folder)
            finish_box(folder, Settings())
            whole(folder)
            shutil.rmtree(folder)
            shutil.copytree(first, folder)
        assert kills >= 3


def test_stopped_by_hand_leaves_nothing_behind(tmp_path):
    class Stopping(Ears):
        def progress(self, what, done, total, unit):
            if what.endswith(".mp4"):
                raise KeyboardInterrupt

    items = ("v1", "v2")
    folder = make_box(tmp_path, items)
    with pytest.raises(KeyboardInterrupt):
        finish_box(folder, Settings(), ears=Stopping())
    assert [path.name for path in folder.glob("copies/*/*")] == []
    assert [path.name for path in folder.glob("masters/*/*")] == ["v1.mkv"]
    finish_box(folder, Settings())
    whole(folder, items)


@pytest.mark.parametrize("keep", ["master", "copy"])
def test_full_disk_in_the_middle_is_said_and_leaves_no_part(tmp_path, keep):
    """Pictures of noise take 100 kB and more in any form; there are 90 kB left."""
    made = make_box(tmp_path, lines=288, keep=keep)
    with small_disk(tmp_path / "disk", megabytes=9) as disk:
        folder = disk / "box"
        shutil.copytree(made, folder)
        room = os.statvfs(disk)
        (folder / "filler").write_bytes(bytes(max(0, room.f_bavail * room.f_bsize - 90_000)))
        with pytest.raises(NotPossible) as caught:
            finish_box(folder, Settings())
        assert caught.value.key == "disk.full"
        assert not [path for path in folder.rglob("*") if path.is_file() and path.suffix in (".mkv", ".mp4", ".m4a")]
        (folder / "filler").unlink()
        (made_now,) = finish_box(folder, Settings()).made
        assert made_now.made.role == keep
