"""No text of any page is cut, in the two sizes of small screens and both languages."""

import pytest
from support.cut_texts import cut_texts
from support.shop import Shop
from support.window_scenes import scenes

from rig.words.language import speak

pytestmark = pytest.mark.usefixtures("own_home")


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("size", [(1024, 600), (1280, 800)])
def test_no_text_of_any_page_is_cut(qtbot, tmp_path, language, size):
    speak(language)
    shop = Shop(qtbot, tmp_path, cautions=True)
    shop.window.resize(*size)
    qtbot.wait(1)
    cut = [f"{scene}: {text}" for scene in scenes(shop, lambda: qtbot.wait(1)) for text in cut_texts(shop.window)]
    shop.window.close()
    speak("en")
    assert not cut, "\n".join(cut)
