"""Settings fail loudly, naming the key and what is allowed."""

import pytest

from takeup.errors import NotPossible
from takeup.settings import Settings, read_settings


def test_no_file_means_defaults(tmp_path):
    assert read_settings({"XDG_CONFIG_HOME": str(tmp_path), "APPDATA": str(tmp_path)}) == Settings()


def test_variables_win_over_the_file(tmp_path):
    path = tmp_path / "s.toml"
    path.write_text('lab = "Port Ellery Library"\nmains = 60\n', "utf-8")
    settings = read_settings({"TAKEUP_SETTINGS": str(path), "TAKEUP_MAINS": "50"})
    assert settings.lab == "Port Ellery Library" and settings.mains == 50


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("colour = 1", "settings.unknown-key"),
        ('mains = "fifty"', "settings.bad-value"),
        ("mains = 55", "settings.not-allowed"),
        ('lang = "fr"', "settings.not-allowed"),
        ("lab = ", "settings.unreadable"),
    ],
)
def test_wrong_settings_are_said(tmp_path, text, key):
    path = tmp_path / "s.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(NotPossible) as caught:
        read_settings({"TAKEUP_SETTINGS": str(path)})
    assert caught.value.key == key
