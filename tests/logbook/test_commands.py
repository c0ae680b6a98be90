"""The commands that look after a stored logbook, as they are typed."""

from __future__ import annotations

import io
import json
import sqlite3
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from logbook.places import START
from tubwater.cli.storage_words import STORED_COMMANDS
from tubwater.errors import WrongCredentials
from tubwater.logbook import open_logbook
from tubwater.logbook.passwords import ArgonPasswords
from tubwater.main import main
from tubwater.reports.data import as_data
from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.memory import RandomNames, SystemClock
from tubwater.services.ports import Kind
from tubwater.services.tubfile import example_text

NOW = "2026-11-26T09:00:00+01:00"
WORDS = "larch spoon kettle river"


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The default place, with one tub and one soak."""
    path = tmp_path / "logbook.db"
    monkeypatch.setenv("TUBWATER_LOGBOOK", str(path))
    monkeypatch.chdir(tmp_path)
    logbook = open_logbook(path)
    keeping = Keeping(logbook.entries, logbook.snapshots, SystemClock(), RandomNames())
    keeping.add_tub({"tub": {"name": "larch", "volume": "1300 L", "sanitizer": "bromine"}, "product": []}, id="larch")
    keeping.record("larch", Kind.SOAKED, {"people": 2, "at": START.isoformat()}, id="a")
    logbook.close()
    return path


def said(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    """What a command prints, on whichever stream."""
    assert main(list(words)) == code, capsys.readouterr().err
    shown = capsys.readouterr()
    assert "Traceback" not in shown.err
    return shown.out if code in (0, 1) else shown.err


def soaks(place: Path) -> int:
    logbook = open_logbook(place)
    found = sum(s.entry.kind is Kind.SOAKED for s in logbook.entries.of("larch"))
    logbook.close()
    return found


def test_a_backup_is_restored_into_an_empty_place(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert json.loads(said(capsys, "backup", "copy.db", "--json"))["entries"] == 3
    assert "not there yet" in said(capsys, "backup", "copy.db", code=2)
    assert "empty" in said(capsys, "restore", "copy.db", code=2)
    said(capsys, "restore", "copy.db", "--logbook", "new.db")
    assert soaks(tmp_path / "new.db") == 1


def test_the_look_over_ends_with_1_where_something_is_wrong(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert json.loads(said(capsys, "check-storage", "--json")) == []
    said(capsys, "check-storage")
    with sqlite3.connect(place) as connection:
        connection.execute("UPDATE entry SET body = '{' WHERE id = 'a'")
    connection.close()
    found = json.loads(said(capsys, "check-storage", "--json", code=1))
    assert [(row["fault"], row["where"]) for row in found] == [("body", "entry a")]


def test_a_logbook_that_is_not_there_is_not_made_by_looking_for_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "nowhere.db" in said(capsys, "check-storage", "--logbook", "nowhere.db", code=2)
    assert not (tmp_path / "nowhere.db").exists()


@pytest.mark.parametrize("name", ["out.csv", "out.xlsx", "out.json"])
def test_what_was_exported_is_known_when_it_comes_again(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert json.loads(said(capsys, "export", name, "--json"))["entries"] == (3 if name == "out.json" else 1)
    assert json.loads(said(capsys, "import", name, "--json"))["new"] in (0, [])
    assert "not there yet" in said(capsys, "export", name, code=2)


def test_a_document_fills_a_new_logbook(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said(capsys, "export", "out.json", "--tub", "larch")
    assert json.loads(said(capsys, "import", "out.json", "--logbook", "new.db", "--json")) == {"new": 3, "known": 0}
    assert soaks(tmp_path / "new.db") == 1


def spoil_time(document: dict[str, Any]) -> None:
    document["entries"][0]["happened"] = "noon"


def spoil_meaning(document: dict[str, Any]) -> None:
    document["entries"][0]["body"]["tub"]["volume"] = "much"


def spoil_order(document: dict[str, Any]) -> None:
    document["entries"][0]["after"] = "another"


def spoil_name(document: dict[str, Any]) -> None:
    document["entries"][2]["id"] = "x" * 200


@pytest.mark.parametrize("spoil", [dict.clear, spoil_time, spoil_meaning, spoil_order, spoil_name])
def test_a_document_that_is_refused_leaves_no_new_logbook_behind(
    spoil: Callable[[dict[str, Any]], None], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said(capsys, "export", "out.json")
    document = json.loads(Path("out.json").read_text(encoding="utf-8"))
    spoil(document)
    Path("bad.json").write_text(json.dumps(document), encoding="utf-8")
    assert said(capsys, "import", "bad.json", "--logbook", "folder/new.db", code=2).strip()
    assert not (tmp_path / "folder").exists()


def test_no_logbook_is_made_by_asking_for_its_accounts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "nowhere.db" in said(capsys, "account", "list", "--logbook", "nowhere.db", code=2)
    assert not (tmp_path / "nowhere.db").exists()


def test_a_table_is_shown_before_it_is_written(tmp_path: Path, place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = "what,at,people\nsoaked,2026-11-20 20:00,2\nsoaked,2026-11-21 20:00,many\n"
    (tmp_path / "in.csv").write_text(text, encoding="utf-8")
    shown = json.loads(said(capsys, "import", "in.csv", "--write", "--json", code=1))
    assert [(p["row"], p["column"]) for p in shown["problems"]] == [(3, "people")] and not shown["written"]
    assert soaks(place) == 1
    (tmp_path / "in.csv").write_text(text.replace("many", "3"), encoding="utf-8")
    said(capsys, "import", "in.csv", "--zone", "Europe/London")
    assert soaks(place) == 1
    said(capsys, "import", "in.csv", "--zone", "Europe/London", "--write")
    assert soaks(place) == 3


@pytest.mark.parametrize(
    "words",
    [
        ["import", "in.csv", "--zone", "Nowhere/At-all"],
        ["import", "in.csv", "--tub", "birch"],
        ["import", "in.txt"],
        ["import", "gone.csv"],
        ["import", "broken.json"],
        ["export", "x.csv", "--tub", "birch"],
        ["export", "x.txt"],
        ["export", "nowhere/x.json"],
        ["restore", "gone.db", "--logbook", "new.db"],
        ["backup", "x.db", "--logbook", "mysql://host/x"],
        ["account", "password", "Nobody"],
    ],
    ids=" ".join,
)
def test_what_cannot_be_meant_ends_with_2_and_a_sentence(
    tmp_path: Path, words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "in.csv").write_text("what,at,people\n", encoding="utf-8")
    (tmp_path / "broken.json").write_text("[" * 100_000, encoding="utf-8")
    assert len(said(capsys, *words, code=2).strip().splitlines()) == 1


@pytest.mark.parametrize("command", sorted(STORED_COMMANDS - {"calendar", "record", "remind"}))
def test_every_question_can_be_asked_of_the_logbook(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = [command, *(["--sign", "foam"] if command == "trouble" else [])]
    told = said(capsys, *words)
    assert told.strip() and max(map(len, told.splitlines())) <= 80
    assert json.loads(said(capsys, *words, "--json"))
    assert 'the name or id of a tub that is there: "larch" (id larch)' in said(capsys, *words, "--tub", "birch", code=2)
    assert "FILE with it" in said(capsys, *words, "--read", "pH=7.5", code=2)
    assert said(capsys, *words, "--seed", "7", code=2)


def add_tub(place: Path, id: str, name: str) -> None:
    logbook = open_logbook(place)
    keeping = Keeping(logbook.entries, logbook.snapshots, SystemClock(), RandomNames())
    keeping.add_tub({"tub": {"name": name, "volume": "900 L", "sanitizer": "chlorine"}, "product": []}, id=id)
    logbook.close()


def test_a_tub_may_be_named_by_its_name(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    add_tub(place, "x1", "Alder, Behind the Barn")
    told = said(capsys, "verdict", code=2)
    assert "got nothing" in told and '"larch" (id larch), "Alder, Behind the Barn" (id x1)' in told
    calendar = said(capsys, "calendar", "--now", NOW, "--tub", " alder, behind the barn")
    assert "Alder" in calendar and calendar == said(capsys, "calendar", "--now", NOW, "--tub", "x1")


def test_of_two_tubs_with_one_name_the_id_is_asked_for(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for id in ("x1", "x2"):
        add_tub(place, id, "Alder")
    told = said(capsys, "outlook", "--tub", "alder", code=2)
    assert 'expected the id of one of "Alder" (id x1), "Alder" (id x2).' in told
    assert "eines von" in said(capsys, "--language", "de", "outlook", "--tub", "alder", code=2)


def test_a_logbook_without_a_tub_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    open_logbook(tmp_path / "bare.db").close()
    assert "a logbook with a tub in it" in said(capsys, "plan", "--logbook", "bare.db", code=2)


def test_a_file_and_a_tub_of_the_logbook_are_not_both_asked(capsys: pytest.CaptureFixture[str]) -> None:
    Path("tub.toml").write_text(example_text(), encoding="utf-8")
    for words in (["--tub", "larch"], ["--logbook", "logbook.db"]):
        assert "no FILE with it" in said(capsys, "plan", "tub.toml", *words, code=2)


def test_a_logbook_in_the_place_of_a_file_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert "--logbook PLACE" in said(capsys, "plan", "logbook.db", code=2)
    assert "a logbook that is there" in said(capsys, "plan", "--logbook", ".", code=2)


def test_the_record_of_the_logbook_is_of_the_time_that_is_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    days = json.loads(said(capsys, "record", "--json", "--now", NOW))["days"]
    assert [sheet["day"]["day"] for sheet in days] == ["2026-11-26"]
    assert "FILE with it" in said(capsys, "record", "--read", "pH=7.5", code=2)


def test_the_outlook_of_the_logbook_hears_what_is_asked_of_it(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["outlook", "--days", "2", "--json", "--now", NOW]
    plain = json.loads(said(capsys, *words))
    party = json.loads(said(capsys, *words, "--party-at", "2026-11-26T12:00", "--party-people", "8"))
    assert len(plain["times"]) == len(party["times"]) and plain["bands"] != party["bands"]
    assert "--party-at" in said(capsys, *words, "--party-at", "soon", code=2)


def test_a_trouble_of_the_logbook_hears_signs_and_checks(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["trouble", "--json", "--now", NOW]
    plain = json.loads(said(capsys, *words, "--sign", "cloudy-white"))
    absent = json.loads(said(capsys, *words, "--sign", "cloudy-white", "--not", "foam"))
    assert plain["causes"] and plain["causes"] != absent["causes"]
    assert "--sign" in said(capsys, *words, code=2)


def test_what_the_logbook_is_asked_is_told_as_its_own_use_cases_say(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    verdict = json.loads(said(capsys, "verdict", "--now", NOW, "--json"))
    logbook = open_logbook(place)
    clock = SimpleNamespace(now=lambda: datetime.fromisoformat(NOW))
    keeping = Keeping(logbook.entries, logbook.snapshots, clock, RandomNames())
    assert verdict == as_data(keeping.verdict("larch"))
    logbook.close()


def test_without_a_file_and_without_a_logbook_both_are_named(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place.unlink()
    told = said(capsys, "plan", code=2)
    assert "FILE" in told and str(place) in told and not place.exists()
    assert "--logbook" in said(capsys, "plan", "--logbook", "none.db", code=2)


def test_a_clock_before_the_newest_entry_keeps_the_verdict_shut_here_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert "clock-behind" in said(capsys, "verdict", "--now", "2026-11-20T09:00:00+00:00", "--json")


def test_what_was_entered_in_this_minute_is_not_taken_for_the_future(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    logbook = open_logbook(place)
    Keeping(logbook.entries, logbook.snapshots, SystemClock(), RandomNames()).record("larch", Kind.NOTICED, {})
    logbook.close()
    assert "clock-behind" not in said(capsys, "verdict", "--json")


def test_the_logbooks_calendar_keeps_the_names_of_its_tub(capsys: pytest.CaptureFixture[str]) -> None:
    told = said(capsys, "calendar")
    assert told.startswith("BEGIN:VCALENDAR") and "larch" in told


@pytest.mark.parametrize("name", ["table.csv", "table.xlsx"])
def test_the_template_can_be_filled_in_and_is_never_written_over(
    tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said(capsys, "template", name)
    before = (tmp_path / name).read_bytes()
    said(capsys, "template", name, code=2)
    assert (tmp_path / name).read_bytes() == before


def test_accounts_are_made_given_roles_and_closed(
    place: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("Ada", "Bo"):
        monkeypatch.setattr("sys.stdin", io.StringIO(WORDS + "\n"))
        said(capsys, "account", "add", name)
    said(capsys, "account", "role", "bo", "--role", "helper", "--tub", "larch")
    monkeypatch.setattr("sys.stdin", io.StringIO("another " + WORDS + "\n"))
    said(capsys, "account", "password", "bo")
    rows = json.loads(said(capsys, "account", "list", "--json"))
    assert [(r["name"], r["owner"], r["roles"]) for r in rows] == [
        ("Ada", True, {}),
        ("Bo", False, {"larch": "helper"}),
    ]
    logbook = open_logbook(place)
    accounts = Accounts(logbook.accounts, ArgonPasswords(), SystemClock(), RandomNames())
    accounts.log_in("bo", "another " + WORDS)
    said(capsys, "account", "close", "Bo")
    with pytest.raises(WrongCredentials):
        accounts.log_in("bo", "another " + WORDS)
    logbook.close()
    assert len(said(capsys, "account", "list").splitlines()) == 2
