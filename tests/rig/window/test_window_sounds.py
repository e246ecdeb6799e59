"""Sounds: a tune a tone, told apart by rhythm or direction; played by what the system has, else the bell."""

import io
import itertools
import wave

import numpy as np
import pytest

from rig.window.sounds import BELLS, RATE_HZ, TUNES, sounds_of_system, tune
from rig.window.views.verdict import Tone


def samples_of(tone):
    with wave.open(io.BytesIO(tune(tone))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE_HZ)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768


@pytest.mark.parametrize("tone", Tone)
def test_a_tune_is_a_wav_file_loud_and_short(tone):
    samples = samples_of(tone)
    assert 0.6 < np.abs(samples).max() < 1.0
    assert 0.2 < samples.size / RATE_HZ < 1.5
    assert abs(samples[0]) < 0.01 > abs(samples[-1])


@pytest.mark.parametrize("tone", Tone)
def test_a_tune_holds_the_notes_it_is_said_to_hold(tone):
    samples, at = samples_of(tone), 0
    for pitch_hz, length_s in TUNES[tone]:
        note = samples[at : at + round(length_s * RATE_HZ)]
        at += note.size
        lines = np.abs(np.fft.rfft(note * np.hanning(note.size)))
        if pitch_hz:
            assert np.fft.rfftfreq(note.size, 1 / RATE_HZ)[lines.argmax()] == pytest.approx(pitch_hz, abs=RATE_HZ / note.size)
        else:
            assert not note.any()


def test_no_two_verdicts_share_rhythm_and_direction():
    def shape(tone):
        notes = [(hz, s) for hz, s in TUNES[tone] if hz]
        rises = tuple(np.sign(b[0] - a[0]) for a, b in itertools.pairwise(notes))
        return len(notes), rises, round(sum(s for _, s in TUNES[tone]), 1)

    assert len({shape(tone) for tone in Tone}) == len(Tone)


def test_without_a_player_the_bell_rings_as_often_as_the_verdict_says(tmp_path, capsys):
    sounds = sounds_of_system(tmp_path, which=lambda name: None, platform="linux")
    assert sounds.means == "terminal bell"
    sounds.play(Tone.HIGH)
    assert capsys.readouterr().err == "\a" * BELLS[Tone.HIGH]
    assert len({BELLS[tone] for tone in (Tone.GOOD, Tone.LOW, Tone.HIGH, Tone.UNDECIDED, Tone.CHATTER)}) == 5


def test_the_first_player_found_is_named_and_the_files_are_there(tmp_path):
    sounds = sounds_of_system(tmp_path, which=lambda name: "/opt/aplay" if name == "aplay" else None, platform="linux")
    assert sounds.means == "aplay"
    assert {path.stem for path in tmp_path.glob("*.wav")} == {tone.value for tone in Tone}
