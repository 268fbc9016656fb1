"""Settings refuse what is missing, mistyped, out of range or unknown, and say so."""

from pathlib import Path

import pytest

from layflat.base import InputError, SettingError, Settings, read_settings


def settings(**values: object) -> Settings:
    return Settings(values, where="film.toml")


def test_a_number_in_range_is_taken() -> None:
    assert settings(width=3).number("width", least=0, most=5) == 3.0


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("3", "must be a number"),
        (True, "must be a number"),
        (float("nan"), "must lie between"),
        (float("inf"), "must lie between"),
        (5.1, "must lie between 0 and 5"),
        (-0.1, "must lie between 0 and 5"),
    ],
)
def test_a_number_that_cannot_be_is_refused(value: object, words: str) -> None:
    with pytest.raises(SettingError, match=words):
        settings(width=value).number("width", least=0, most=5)


def test_a_missing_value_names_its_file_and_key() -> None:
    with pytest.raises(SettingError, match=r"film\.toml: the value “width” is missing"):
        settings().number("width", least=0, most=5)


def test_a_default_is_remembered() -> None:
    table = settings(a=1)
    assert table.number("a", least=0, most=5, default=2) == 1.0
    assert table.number("b", least=0, most=5, default=2) == 2.0
    assert table.flag("c", default=False) is False
    assert table.defaults == {"b": 2, "c": False}


def test_a_whole_number_must_be_whole() -> None:
    assert settings(copies=2).integer("copies", least=1, most=9) == 2
    with pytest.raises(SettingError, match="whole number"):
        settings(copies=2.5).integer("copies", least=1, most=9)


def test_texts_flags_and_choices_are_checked() -> None:
    table = settings(name=" ", on=1, kind="other", sizes=[1, "2"])
    with pytest.raises(SettingError, match="1 to 200 characters"):
        table.text("name")
    with pytest.raises(SettingError, match="true or false"):
        table.flag("on")
    with pytest.raises(SettingError, match="one of wrap, short"):
        table.choice("kind", ("wrap", "short"))
    with pytest.raises(SettingError, match="sizes"):
        table.numbers("sizes", least=0, most=5)


def test_an_unknown_key_is_refused_with_those_known() -> None:
    table = settings(width=3, widht=4)
    table.number("width", least=0, most=5)
    with pytest.raises(SettingError, match="“widht” is not a value that is known here"):
        table.finish()


def test_tables_say_where_they_are() -> None:
    table = settings(cover=[{"panel": "hood"}, {"panel": 3}])
    first, second = table.tables("cover")
    assert first.text("panel") == "hood"
    with pytest.raises(SettingError, match=r"film\.toml, cover 2: “panel” must be a text"):
        second.text("panel")
    assert list(table.tables("other", optional=True)) == []
    assert "x" not in table.table("more", optional=True)


@pytest.mark.parametrize("content", [b"a = ", b"\xff\xfe", b"[[[[["])
def test_a_broken_file_is_refused_in_a_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(content)
    with pytest.raises(SettingError, match="is not a TOML file"):
        read_settings(path)


def test_an_empty_or_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_settings(tmp_path / "none.toml")
    (tmp_path / "empty.toml").touch()
    with pytest.raises(InputError, match="is empty"):
        read_settings(tmp_path / "empty.toml")
    with pytest.raises(InputError, match="is a folder"):
        read_settings(tmp_path)
