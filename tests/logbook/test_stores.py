"""What every store does, in memory and in each database."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from logbook.places import START, Stores, make_entry, minutes
from tubwater.errors import Conflict, InputError, WrongCredentials
from tubwater.logbook import open_logbook
from tubwater.logbook.passwords import ArgonPasswords
from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.memory import RandomNames
from tubwater.services.people import Account, Device, Role, Token, TokenKind
from tubwater.services.ports import Entry, Kind, Source

HERE = timezone(timedelta(hours=1))


class Clock:
    """A clock that stands still."""

    def now(self) -> datetime:
        return START


def descriptions(stores: Stores) -> None:
    """A tub with two changes of its shelf."""
    stores.entries.append([make_entry("t", kind=Kind.TUB), make_entry("s1", kind=Kind.SHELF)], START)
    stores.entries.append([make_entry("s2", kind=Kind.SHELF, after="s1")], minutes(1))


# Entries


def test_an_entry_comes_back_as_it_was_entered(stores: Stores) -> None:
    source = Source("ada", "phone", 7, datetime(2026, 11, 25, 13, 0, 1, 500, HERE))
    entry = Entry("a", "larch", Kind.TEST, datetime(2026, 11, 25, 13, 0, tzinfo=HERE), {"pH": 7.4, "ü": ["≥"]}, source)
    stores.entries.append([entry], minutes(2))
    (found,) = stores.entries.of("larch")
    assert found.entry == entry and found.recorded == minutes(2) and not found.repeated
    assert found.entry.happened.isoformat() == entry.happened.isoformat()


def test_entries_come_in_the_order_they_were_recorded_in_each_tub_apart(stores: Stores) -> None:
    stores.entries.append([make_entry("b"), make_entry("a")], minutes(5))
    stores.entries.append([make_entry("c", tub="birch"), make_entry("d")], minutes(1))
    assert [s.entry.id for s in stores.entries.of("larch")] == ["b", "a", "d"]
    assert stores.entries.tubs() == ["larch", "birch"] and stores.entries.of("oak") == []


def test_nothing_to_append_is_nothing(stores: Stores) -> None:
    assert stores.entries.append([], START) == [] and stores.entries.tubs() == []


def test_a_repeat_is_handed_back_as_it_was_kept(stores: Stores) -> None:
    first = stores.entries.append([make_entry("a")], START)
    later = replace(make_entry("a"), happened=minutes(9), source=Source("bo"))
    again = stores.entries.append([later, make_entry("b")], minutes(10))
    assert [(s.repeated, s.recorded) for s in again] == [(True, START), (False, minutes(10))]
    assert again[0].entry == first[0].entry and len(stores.entries.of("larch")) == 2


def test_a_repeat_within_one_append_is_kept_once(stores: Stores) -> None:
    found = stores.entries.append([make_entry("a"), make_entry("a")], START)
    assert [s.repeated for s in found] == [False, True] and len(stores.entries.of("larch")) == 1


@pytest.mark.parametrize(
    "other", [make_entry("a", people=3), make_entry("a", tub="birch"), make_entry("a", kind=Kind.NOTICED)]
)
def test_another_content_under_a_known_id_is_a_conflict_and_keeps_nothing(stores: Stores, other: Entry) -> None:
    stores.entries.append([make_entry("a")], START)
    with pytest.raises(Conflict) as told:
        stores.entries.append([make_entry("b"), other], minutes(1))
    assert told.value.stands == "a"
    assert [s.entry.id for s in stores.entries.of("larch")] == ["a"] and stores.entries.tubs() == ["larch"]


def test_a_description_is_changed_from_the_newest_only(stores: Stores) -> None:
    descriptions(stores)
    with pytest.raises(Conflict) as told:
        stores.entries.append([make_entry("s3", kind=Kind.SHELF, after="s1")], minutes(2))
    assert told.value.stands == "s2"
    with pytest.raises(Conflict):
        stores.entries.append([make_entry("t2", kind=Kind.TUB)], minutes(2))
    chain = [make_entry(f"s{n}", kind=Kind.SHELF, after=f"s{n - 1}") for n in (3, 4)]
    assert [s.entry.id for s in stores.entries.append(chain, minutes(3))] == ["s3", "s4"]


def test_a_repeated_description_is_no_conflict_though_a_newer_one_stands(stores: Stores) -> None:
    descriptions(stores)
    assert stores.entries.append([make_entry("s1", kind=Kind.SHELF)], minutes(4))[0].repeated


def test_what_comes_from_elsewhere_keeps_its_own_times(stores: Stores) -> None:
    first = stores.entries.append([make_entry("a")], START)
    other = replace(first[0], entry=make_entry("b"), recorded=minutes(-60))
    assert [s.recorded for s in stores.entries.take_in([other, first[0]])] == [minutes(-60), START]


@pytest.mark.parametrize("name", ["", "x" * 101, "a\x00", "a\nb", "\ud800"])
def test_a_name_that_no_place_can_keep_is_refused(stores: Stores, name: str) -> None:
    with pytest.raises(InputError):
        stores.entries.append([make_entry("a"), make_entry(name)], START)
    with pytest.raises(InputError):
        stores.entries.append([make_entry("a", tub=name)], START)
    assert stores.entries.tubs() == []


@pytest.mark.parametrize("source", [Source(sequence=-1), Source(sequence=2**63), Source(device="\x00")])
def test_an_origin_that_no_place_can_keep_is_refused(stores: Stores, source: Source) -> None:
    with pytest.raises(InputError):
        stores.entries.append([make_entry("a", source=source)], START)


def test_a_time_without_its_offset_is_refused(stores: Stores) -> None:
    with pytest.raises(InputError):
        stores.entries.append([replace(make_entry("a"), happened=datetime(2026, 1, 1))], START)


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**60), 2**60)
    | st.floats(allow_nan=False, allow_infinity=False)
    # A text may hold anything, a zero or half a surrogate pair included.
    | st.text(st.characters(exclude_categories=[])),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(body=st.dictionaries(st.text(st.characters(exclude_categories=[]), max_size=8), JSON, max_size=4))
def test_any_body_comes_back_and_its_repeat_is_known(stores: Stores, body: dict[str, object]) -> None:
    entry = Entry(RandomNames().fresh(), "larch", Kind.NOTICED, START, body)
    stores.entries.append([entry], START)
    assert stores.entries.append([entry], minutes(1))[0].repeated
    assert stores.entries.of("larch")[-1].entry.body == body


def test_the_use_cases_run_on_every_store(stores: Stores) -> None:
    keeping = Keeping(stores.entries, stores.snapshots, Clock(), RandomNames())
    tub = keeping.add_tub({"tub": {"name": "larch", "volume": "1300 L", "sanitizer": "bromine"}, "product": []})
    soak = keeping.record(tub, Kind.SOAKED, {"people": 2}, id="a").stored
    keeping.correct(tub, "a", {"people": 4})
    assert keeping.line(tub, "a").body["people"] == 4 and soak.entry.body["people"] == 2
    keeping.withdraw(tub, "a")
    assert keeping.file(tub).events == () and keeping.file(tub).tub.litres == 1300.0


def test_what_was_read_once_is_not_read_again_and_what_others_wrote_since_is(
    place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine, other = open_logbook(place), open_logbook(place)
    mine.entries.append([make_entry("first"), make_entry("second")], START)
    assert len(mine.entries.of("larch")) == 2
    with monkeypatch.context() as patched:
        patched.setattr("tubwater.logbook.entries.stored_of", None)
        again = mine.entries.of("larch")
    other.entries.append([make_entry("third")], minutes(1))
    again.clear()  # what was handed out is the caller's own
    assert [stored.entry.id for stored in mine.entries.of("larch")] == ["first", "second", "third"]
    for number in range(40):  # more tubs than stay in memory
        mine.entries.append([make_entry(f"{number}", f"tub {number}")], START)
        assert len(mine.entries.of(f"tub {number}")) == 1
    assert len(mine.entries.of("larch")) == 3
    mine.close()
    other.close()


# Accounts


ADA = Account("1", "Ada", "hash", True, START)
PHONE = Device("d", "1", "phone", START)
TOKEN = Token("k", "1", TokenKind.PAIRING, "digest", START, "", "d", Role.HELPER, minutes(10))


def test_accounts_devices_and_tokens_come_back(stores: Stores) -> None:
    for value in (ADA, PHONE, TOKEN):
        stores.accounts.keep(value)
    assert stores.accounts.accounts() == [ADA] and stores.accounts.account("1") == ADA
    assert stores.accounts.devices("1") == [PHONE] and stores.accounts.tokens("1") == [TOKEN]
    assert stores.accounts.token("digest") == TOKEN and stores.accounts.token("other") is None
    assert stores.accounts.account("2") is None and stores.accounts.devices("2") == []


def test_a_value_kept_again_takes_the_place_of_the_former(stores: Stores) -> None:
    for value in (ADA, replace(ADA, closed=minutes(1)), PHONE, replace(PHONE, withdrawn=minutes(2))):
        stores.accounts.keep(value)
    assert stores.accounts.accounts() == [replace(ADA, closed=minutes(1))]
    assert stores.accounts.devices("1")[0].withdrawn == minutes(2)


def test_a_name_is_taken_whatever_its_letters(stores: Stores) -> None:
    stores.accounts.keep(ADA)
    with pytest.raises(Conflict):
        stores.accounts.keep(Account("2", "\uff21\uff24\uff21", "", False, START))
    assert stores.accounts.named("ada") == ADA and len(stores.accounts.accounts()) == 1


def test_of_many_first_accounts_at_once_one_is_kept(stores: Stores) -> None:
    stores.accounts.keep(Account("here", "this computer", "", True, START))  # whoever sits there, without a password
    asked = [Account(f"{number}", f"keeper {number}", "hash", True, START) for number in range(8)]
    with ThreadPoolExecutor(8) as crowd:
        kept = list(crowd.map(stores.accounts.keep_first, asked))
    assert sorted(kept) == [False] * 7 + [True]
    assert [account.opens for account in stores.accounts.accounts()].count(True) == 1


def test_a_token_is_spent_once(stores: Stores) -> None:
    for value in (ADA, PHONE, TOKEN):
        stores.accounts.keep(value)
    assert stores.accounts.spend("k", minutes(1)) and not stores.accounts.spend("k", minutes(2))
    assert stores.accounts.tokens("1")[0].used == minutes(1)


def test_roles_are_given_changed_and_taken_away(stores: Stores) -> None:
    stores.accounts.keep(ADA)
    for tub, role in (("larch", Role.READER), ("*", Role.HELPER), ("larch", Role.KEEPER)):
        stores.accounts.give_role("1", tub, role)
    assert stores.accounts.roles("1") == {"larch": Role.KEEPER, "*": Role.HELPER}
    stores.accounts.give_role("1", "larch", None)
    assert stores.accounts.roles("1") == {"*": Role.HELPER} and stores.accounts.roles("2") == {}


def test_accounts_work_on_every_store_with_real_hashes(stores: Stores) -> None:
    accounts = Accounts(stores.accounts, ArgonPasswords(), Clock(), RandomNames())
    ada = accounts.add("Ada", "larch spoon kettle river")
    owner = accounts.who(accounts.log_in("ada", "larch spoon kettle river").secret)
    phone = accounts.who(accounts.pair(accounts.offer_pairing(owner).secret, "phone").secret)
    assert owner.owner and phone.account == ada.id and phone.device
    accounts.withdraw_device(phone.device, owner)
    with pytest.raises(WrongCredentials):
        accounts.log_in("ada", "larch spoon kettle rive")


# Snapshots


def test_a_snapshot_comes_back_and_can_be_put_again(stores: Stores) -> None:
    assert stores.snapshots.get("a") is None
    for value in (b"\x00first", b"second"):
        stores.snapshots.put("a", value)
    assert stores.snapshots.get("a") == b"second"
