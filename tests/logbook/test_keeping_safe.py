"""Migration, backup, restore, the look-over, and the JSON document: what was kept is still there afterwards."""

from __future__ import annotations

import json
import shutil
import sqlite3
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import text

import tubwater.logbook.migrations
from logbook.places import START, make_entry, minutes
from tubwater.errors import Conflict, InputError, StoreUnavailable
from tubwater.logbook import SqlLogbook, SqlStorehouse, open_logbook
from tubwater.logbook.engine import create_private
from tubwater.logbook.migrate import HEAD, bring_up, version_of
from tubwater.logbook.place import place_of
from tubwater.logbook.tables import METADATA
from tubwater.services.document import read_document, take_document, to_document
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, RandomNames
from tubwater.services.memory_kits import MemoryKits
from tubwater.services.people import Account, Device, Role, Token, TokenKind
from tubwater.services.ports import Kind, Source, Stored
from tubwater.services.storage import Fault, Kit

FIRST = Path(__file__).with_name("first_version.sql")


class Clock:
    """A clock that stands still."""

    def now(self) -> datetime:
        return minutes(1000)


@pytest.fixture
def full(logbook: SqlLogbook) -> SqlLogbook:
    """A logbook with something in every table."""
    keeping = Keeping(logbook.entries, logbook.snapshots, Clock(), RandomNames())
    for tub in ("larch", "birch"):
        keeping.add_tub({"tub": {"name": tub, "volume": "1300 L", "sanitizer": "bromine"}, "product": []}, id=tub)
    keeping.record("larch", Kind.SOAKED, {"people": 2}, Source("1", "d", 3, START), id="a")
    keeping.correct("larch", "a", {"people": 3}, id="b")
    keeping.withdraw("larch", "a", "another tub", id="c")
    ada = Account("1", "Ada", "hash", True, START)
    token = Token("t", "1", TokenKind.SESSION, "digest", START, "", "d", Role.HELPER, minutes(10))
    for value in (ada, Device("d", "1", "phone", START), token):
        logbook.accounts.keep(value)
    logbook.accounts.give_role("1", "larch", Role.HELPER)
    logbook.kits.keep(Kit("k", "strip", "in the shed", "larch", "1", START, minutes(5)))
    logbook.letters.keep("letter", START)
    logbook.letters.claim("another", minutes(1))
    return logbook


def everything(logbook: SqlLogbook) -> dict[str, list[Any]]:
    """Every row of every table."""

    def rows(connection: Any) -> dict[str, list[Any]]:
        return {t.name: [tuple(row) for row in connection.execute(t.select())] for t in METADATA.sorted_tables}

    return logbook.database.read(rows)


# Migration


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A file of the first version."""
    path = tmp_path / "old.db"
    with sqlite3.connect(path) as connection:
        connection.executescript(FIRST.read_text(encoding="utf-8"))
    connection.close()
    return path


def test_a_logbook_of_the_first_version_is_brought_up_with_all_its_rows(old: Path) -> None:
    logbook = open_logbook(old)
    assert logbook.check() == () and logbook.database.read(version_of) == HEAD
    assert {name: len(rows) for name, rows in everything(logbook).items()} == {
        "account": 1, "device": 1, "entry": 4, "kit": 1, "token": 1, "role": 0, "letter": 0,
    }  # fmt: skip
    test = next(s for s in logbook.entries.of("larch") if s.entry.id == "a")
    assert test.entry.source == Source("1", "d", 4, datetime.fromisoformat("2026-11-02T08:00:00.5+00:00"))
    keeping = Keeping(logbook.entries, logbook.snapshots, Clock(), RandomNames())
    assert keeping.line("larch", "a").body["bromine"] == [2, 3]
    logbook.accounts.give_role("1", "larch", Role.KEEPER)
    logbook.close()


def test_the_file_of_the_first_version_is_what_the_first_step_makes(old: Path, tmp_path: Path) -> None:
    made = place_of(tmp_path / "made.db")
    create_private(made)
    bring_up(made, 5.0, "1")
    assert made.path is not None
    found = []
    for path in (old, made.path):
        connection = sqlite3.connect(path)
        query = "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name"
        found.append(connection.execute(query).fetchall())
        connection.close()
    assert found[0] == found[1]


def test_the_steps_lead_to_the_tables_that_the_program_uses(logbook: SqlLogbook) -> None:
    assert logbook.check() == ()
    config = Config()
    config.set_main_option("script_location", str(Path(tubwater.logbook.migrations.__file__).parent))
    assert ScriptDirectory.from_config(config).get_heads() == [HEAD]


def test_every_table_of_sqlite_refuses_other_types(tmp_path: Path) -> None:
    logbook = open_logbook(tmp_path / "x.db")
    tables = logbook.database.read(lambda c: c.execute(text("SELECT name, strict FROM pragma_table_list")).all())
    logbook.close()
    assert {name for name, strict in tables if strict} >= {table.name for table in METADATA.sorted_tables}


def test_a_step_that_fails_leaves_the_place_as_it_was(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from tubwater.logbook import migrate

    before = old.read_bytes()
    monkeypatch.setattr(migrate, "_mark", lambda *_: (_ for _ in ()).throw(StoreUnavailable("planted")))
    with pytest.raises(StoreUnavailable, match="planted"):
        open_logbook(old)
    connection = sqlite3.connect(old)
    assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [("1",)]
    assert connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'role'").fetchall() == [(0,)]
    connection.close()
    assert before[:16] == old.read_bytes()[:16]


# Backup and restore


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_backup_restores_every_row_in_either_database(
    full: SqlLogbook, tmp_path: Path, new_place: Callable[[str], str], kind: str
) -> None:
    target = tmp_path / "backup.db"
    assert full.backup(target) == len(everything(full)["entry"]) == 7
    assert not list(tmp_path.glob("backup.db-*")) and target.stat().st_mode & 0o077 == 0
    place = new_place(kind)
    assert SqlStorehouse().restore(target, place) == 7
    restored = open_logbook(place)
    assert everything(restored) == everything(full) and restored.check() == ()
    restored.entries.append([make_entry("goes on")], minutes(2000))
    assert [s.entry.id for s in restored.entries.of("larch")][-1] == "goes on"
    restored.close()


def test_a_backup_while_others_write_holds_whole_appends_only(logbook: SqlLogbook, tmp_path: Path) -> None:
    done = threading.Event()

    def write() -> None:
        for number in range(1000):
            if done.is_set():
                return
            logbook.entries.append([make_entry(f"{number}-{part}") for part in range(3)], START)

    writer = threading.Thread(target=write)
    writer.start()
    counts = [logbook.backup(tmp_path / f"{number}.db") for number in range(3)]
    done.set()
    writer.join()
    assert all(count % 3 == 0 for count in counts) and counts == sorted(counts)


def test_a_backup_never_writes_over_a_file_and_a_restore_never_into_entries(full: SqlLogbook, tmp_path: Path) -> None:
    target = tmp_path / "backup.db"
    full.backup(target)
    content = target.read_bytes()
    with pytest.raises(InputError):
        full.backup(target)
    place = full.database.place.told
    if full.database.place.path is not None:
        with pytest.raises(InputError):
            SqlStorehouse().restore(target, place)
    assert target.read_bytes() == content and len(everything(full)["entry"]) == 7
    with pytest.raises(StoreUnavailable):
        full.backup(tmp_path / "nowhere" / "backup.db")


def test_a_backup_of_the_first_version_can_be_restored_and_stays_as_it_is(old: Path, place: str) -> None:
    content = old.read_bytes()
    assert SqlStorehouse().restore(old, place) == 4
    assert old.read_bytes() == content


def test_what_is_no_backup_is_refused(tmp_path: Path) -> None:
    Path(tmp_path, "text").write_text("no backup", encoding="utf-8")
    with pytest.raises(StoreUnavailable):
        SqlStorehouse().restore(tmp_path / "text", tmp_path / "new.db")
    with pytest.raises(InputError):
        SqlStorehouse().restore(tmp_path / "nothing", tmp_path / "new.db")


def test_a_logbook_in_use_is_restored_with_all_that_was_acknowledged(tmp_path: Path) -> None:
    """SQLite keeps the newest entries in a second file until it moves them over."""
    logbook = open_logbook(tmp_path / "live.db")
    logbook.entries.append([make_entry(f"e{number}") for number in range(7)], minutes(1))
    before = (tmp_path / "live.db").read_bytes()
    assert SqlStorehouse().restore(tmp_path / "live.db", tmp_path / "of-live.db") == 7
    for ending in ("", "-wal"):  # what a killed program leaves, taken elsewhere without its third file
        shutil.copyfile(tmp_path / f"live.db{ending}", tmp_path / f"killed.db{ending}")
    logbook.close()
    assert SqlStorehouse().restore(tmp_path / "killed.db", tmp_path / "of-killed.db") == 7
    assert (tmp_path / "killed.db").read_bytes() == before


@pytest.mark.parametrize("harm", ["cut", "empty", "overwritten", "unreadable"])
def test_a_backup_is_proven_good_before_a_place_is_touched(tmp_path: Path, harm: str) -> None:
    logbook = open_logbook(tmp_path / "logbook.db")
    logbook.entries.append([make_entry(f"e{number}") for number in range(500)], minutes(1))
    backup = tmp_path / "backup.db"
    logbook.backup(backup)
    logbook.close()
    whole = backup.read_bytes()
    if harm == "unreadable":
        with sqlite3.connect(backup) as rows:
            rows.execute("UPDATE entry SET happened = 'yesterday' WHERE id = 'e7'")
        rows.close()
    else:
        middle = len(whole) // 2
        harmed = {
            "cut": whole[:middle],
            "empty": b"",
            "overwritten": whole[:middle] + bytes(4096) + whole[middle + 4096 :],
        }
        backup.write_bytes(harmed[harm])
    with pytest.raises((InputError, StoreUnavailable)):
        SqlStorehouse().restore(backup, tmp_path / "new.db")
    assert not list(tmp_path.glob("new.db*"))


# The look-over


def test_nothing_is_found_in_a_sound_place(full: SqlLogbook) -> None:
    assert full.check() == ()


@pytest.mark.parametrize(
    ("harm", "fault"),
    [
        ("UPDATE entry SET body = '{' WHERE id = 'a'", Fault.BODY),
        ("UPDATE entry SET body = '[]' WHERE id = 'a'", Fault.BODY),
        ("UPDATE entry SET kind = 'flown' WHERE id = 'a'", Fault.BODY),
        ("UPDATE entry SET happened = 'noon' WHERE id = 'a'", Fault.BODY),
        ("UPDATE entry SET recorded = '2026-11-25T12:00:00' WHERE id = 'a'", Fault.BODY),
        ("UPDATE entry SET after = 'x' WHERE id = 'larch-tub'", Fault.ORDER),
        ('UPDATE entry SET body = \'{"entry":"x","body":{}}\' WHERE id = \'b\'', Fault.REFERENCE),
        ("DELETE FROM entry WHERE id = 'a'", Fault.REFERENCE),
        ("UPDATE entry SET body = '{\"tub\":{}}' WHERE id = 'birch-tub'", Fault.MEANING),
        ("DROP TABLE role", Fault.VERSION),
        ("DROP INDEX entry_follows_one", Fault.VERSION),
        ("UPDATE alembic_version SET version_num = '1'", Fault.VERSION),
    ],
)
def test_harm_is_found(full: SqlLogbook, harm: str, fault: Fault) -> None:
    full.database.write(lambda connection: connection.exec_driver_sql(harm))
    assert fault in {finding.fault for finding in full.check()}


def test_a_row_that_points_nowhere_is_found(tmp_path: Path, full: SqlLogbook) -> None:
    path = full.database.place.path
    if path is None:
        with pytest.raises(StoreUnavailable):  # PostgreSQL cannot be talked into it
            full.database.write(lambda c: c.exec_driver_sql("UPDATE device SET account = 'nobody'"))
        return
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE device SET account = 'nobody'")
    connection.close()
    assert Fault.REFERENCE in {finding.fault for finding in full.check()}


def test_a_damaged_file_is_found(tmp_path: Path) -> None:
    logbook = open_logbook(tmp_path / "x.db")
    logbook.entries.append([make_entry(f"{n}", note="x" * 500) for n in range(500)], START)
    logbook.backup(tmp_path / "copy.db")
    logbook.close()
    content = bytearray((tmp_path / "copy.db").read_bytes())
    content[40_960:49_152] = b"\x55" * 8192
    (tmp_path / "copy.db").write_bytes(content)
    damaged = open_logbook(tmp_path / "copy.db")
    assert Fault.DAMAGED in {finding.fault for finding in damaged.check()}
    damaged.close()


# The JSON document


def test_a_document_goes_out_and_in_and_out_again_the_same(full: SqlLogbook) -> None:
    document = json.loads(json.dumps(to_document(full.entries, full.kits)))
    entries, kits = MemoryEntries(), MemoryKits()
    assert take_document(document, entries, kits, Clock()) == (7, 0)
    assert to_document(entries, kits) == document
    for tub in ("larch", "birch"):
        assert entries.of(tub) == full.entries.of(tub)
    assert take_document(document, full.entries, full.kits, Clock()) == (0, 7)


def test_one_tub_can_be_taken_out_alone(full: SqlLogbook) -> None:
    document = to_document(full.entries, full.kits, ["birch"])
    assert {row["tub"] for row in document["entries"]} == {"birch"} and document["kits"] == []


def test_a_document_that_says_something_else_is_a_conflict_and_changes_nothing(full: SqlLogbook) -> None:
    document = to_document(full.entries, full.kits)
    known = replace(full.entries.of("larch")[2].entry, id="new")
    entries, kits = MemoryEntries(), MemoryKits()
    entries.take_in([Stored(replace(known, id="a", body={"people": 9}), START)])
    with pytest.raises(Conflict):
        take_document(document, entries, kits, Clock())
    assert len(entries.of("larch")) == 1 and entries.tubs() == ["larch"]


def spoil(change: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
    """A document of one tub and one soak, spoiled."""
    tub = make_entry("t", kind=Kind.TUB, tub_=0)
    tub = replace(tub, body={"tub": {"name": "larch", "volume": "1300 L", "sanitizer": "bromine"}})
    entries = MemoryEntries()
    entries.append([tub, make_entry("a"), make_entry("w", kind=Kind.WITHDRAWN, entry="a")], START)
    document = to_document(entries, MemoryKits())
    document["kits"] = [{"id": "k", "method": "strip"}]
    change(document)
    return document


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d.update(format="else"),
        lambda d: d.update(version=2),
        lambda d: d.update(entries=3),
        lambda d: d["entries"].append(3),
        lambda d: d["entries"][1].update(id=3),
        lambda d: d["entries"][1].pop("tub"),
        lambda d: d["entries"][1].update(id=""),
        lambda d: d["entries"][1].update(id="\x00"),
        lambda d: d["entries"][1].update(kind="flown"),
        lambda d: d["entries"][1].update(happened="noon"),
        lambda d: d["entries"][1].update(recorded="2026-11-25T12:00:00"),
        lambda d: d["entries"][1].update(body=[]),
        lambda d: (d["entries"].pop(2), d["entries"][1].update(body={"people": "many"})),
        lambda d: d["entries"][1]["source"].update(sequence="3"),
        lambda d: d["entries"][1]["source"].update(sent=3),
        lambda d: d["entries"][2].update(body={}),
        lambda d: d["entries"][0].update(body={"tub": 3}),
        lambda d: d["entries"].pop(0),
        lambda d: d["kits"].append({}),
        lambda d: d["kits"][0].update(opened="noon"),
    ],
)
def test_a_spoiled_document_is_refused_whole(change: Callable[[dict[str, Any]], object]) -> None:
    entries, kits = MemoryEntries(), MemoryKits()
    with pytest.raises(InputError):
        take_document(spoil(change), entries, kits, Clock())
    assert entries.tubs() == [] and kits.all() == []


def test_an_unspoiled_document_is_taken() -> None:
    assert [len(part) for part in read_document(spoil(lambda d: None))] == [3, 1]
    assert take_document(spoil(lambda d: None), MemoryEntries(), MemoryKits(), Clock()) == (3, 0)
