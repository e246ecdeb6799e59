"""The window of a workshop whose book lies in the test's own folder."""

import pytest
from support.shop import Shop

from rig.words.language import speak


@pytest.fixture
def shop(own_home, qtbot, tmp_path):
    made = Shop(qtbot, tmp_path)
    yield made
    made.window.close()
    speak("en")
