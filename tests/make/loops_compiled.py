"""``python -m tests.make.loops_compiled``: every loop compiled into numba's cache, once, before tests run side by side.

They compare the kept machine code with it, and call measures with it; begun together, each would compile the same.
"""

from __future__ import annotations

from takeup.measure.sound import loops as sound
from takeup.measure.video import loops as video
from takeup.tasks import sound_loops
from takeup.tasks.video_trial import look_at_some

if __name__ == "__main__":
    sound_loops._use(sound.compiled_loops())
    look_at_some(video.compiled_loops())
