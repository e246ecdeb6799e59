"""Sounds: each tone of a verdict has a tune of its own, told apart by rhythm and direction, not by pitch alone.

The tunes are made here as WAV files (16 bit, mono) and played by what the system has: Windows' own player, else one of a few
command-line players; where there is none, the terminal bell rings (once, twice ...). Nothing waits for a tune to end.
"""

from __future__ import annotations

import array
import io
import math
import shutil
import subprocess
import sys
import wave
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rig.window.views.verdict import Tone
from rig.words.outlet import unfiltered

RATE_HZ = 22050
LOUDNESS = 0.8
FADE_S = 0.008  # without it every note starts and ends with a click

# Notes as (Hz, s); 0 Hz is a pause. 500 to 2000 Hz carries over a compressor's rumble and is heard by ageing ears.
TUNES: dict[Tone, Sequence[tuple[float, float]]] = {
    Tone.GOOD: ((784, 0.16), (1047, 0.16), (1568, 0.34)),
    Tone.LOW: ((988, 0.3), (0, 0.06), (523, 0.5)),
    Tone.HIGH: ((1568, 0.1), (0, 0.06), (1568, 0.1), (0, 0.06), (1568, 0.1), (0, 0.06), (1568, 0.1)),
    Tone.UNDECIDED: ((784, 0.18), (932, 0.18), (784, 0.18), (932, 0.18)),
    Tone.CHATTER: ((440, 0.07), (0, 0.05)) * 7,
    Tone.STOP: ((1976, 0.09), (0, 0.03)) * 4,
    Tone.NONE: ((523, 0.12), (0, 0.1), (523, 0.12)),
}
BELLS = {Tone.GOOD: 1, Tone.LOW: 2, Tone.HIGH: 3, Tone.UNDECIDED: 4, Tone.CHATTER: 5, Tone.STOP: 6, Tone.NONE: 1}
PLAYERS = (("pw-play",), ("paplay",), ("aplay", "-q"), ("afplay",), ("play", "-q"))


def tune(tone: Tone) -> bytes:
    """The tune of a tone as a whole WAV file."""
    samples = array.array("h")
    for pitch_hz, length_s in TUNES[tone]:
        count = round(length_s * RATE_HZ)
        fade = FADE_S * RATE_HZ
        for i in range(count):
            edge = min(1.0, i / fade, (count - i) / fade)
            samples.append(round(32767 * LOUDNESS * edge * math.sin(2 * math.pi * pitch_hz * i / RATE_HZ)))
    if sys.byteorder == "big":
        samples.byteswap()
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes(samples.tobytes())
    return file.getvalue()


@dataclass(frozen=True, slots=True)
class Sounds:
    """Plays the tune of a tone at once and returns. `means` says what plays it, for the person."""

    means: str
    play: Callable[[Tone], None]


def sounds_of_system(folder: Path, which: Callable[[str], str | None] = shutil.which, platform: str = sys.platform) -> Sounds:
    """The sounds this system can make; the WAV files are written into `folder`. Raises OSError where that fails."""
    files: dict[Tone, Path] = {}
    for tone in TUNES:
        files[tone] = folder / f"{tone.value}.wav"
        files[tone].write_bytes(tune(tone))
    if platform == "win32":
        return Sounds("Windows", lambda tone: _windows(files[tone]))
    for player in PLAYERS:
        found = which(player[0])
        if found:
            command = [found, *player[1:]]
            return Sounds(player[0], _Player(command, files).play)
    return Sounds("terminal bell", _bell)


class _Player:
    """A command-line player; a tune under way is cut off by the next."""

    def __init__(self, command: Sequence[str], files: dict[Tone, Path]) -> None:
        self._command, self._files = command, files
        self._running: subprocess.Popen[bytes] | None = None

    def play(self, tone: Tone) -> None:
        if self._running is not None and self._running.poll() is None:
            self._running.terminate()
            self._running.wait()
        silent = subprocess.DEVNULL
        self._running = subprocess.Popen([*self._command, str(self._files[tone])], stdin=silent, stdout=silent, stderr=silent)


def _windows(file: Path) -> None:
    if sys.platform == "win32":
        import winsound

        winsound.PlaySound(str(file), winsound.SND_FILENAME | winsound.SND_ASYNC | winsound.SND_NODEFAULT)


def _bell(tone: Tone) -> None:
    unfiltered(sys.stderr).write("\a" * BELLS[tone])
    sys.stderr.flush()
