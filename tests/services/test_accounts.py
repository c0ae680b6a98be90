"""Accounts, roles, sessions, pairing and tokens: what each may do, on the store in memory."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tubwater.errors import Conflict, InputError, NotAllowed, TooManyAttempts, UnknownEntry, WrongCredentials
from tubwater.services.accounts import Accounts, digest_of
from tubwater.services.memory import RandomNames
from tubwater.services.memory_accounts import MemoryAccounts
from tubwater.services.people import ALL_TUBS, Account, Caller, Deed, Role, TokenKind, lesser, may

START = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
WORDS = "larch spoon kettle river"


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.time = START

    def now(self) -> datetime:
        return self.time


class Plain:
    """Keeps passwords readable; the real hash is tested where it lives."""

    def hash(self, password: str) -> str:
        return "plain:" + password

    def verify(self, kept: str, password: str) -> bool:
        return kept == "plain:" + password

    def stale(self, kept: str) -> bool:
        return False


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def accounts(clock: Clock) -> Accounts:
    return Accounts(MemoryAccounts(), Plain(), clock, RandomNames())


@pytest.fixture
def owner(accounts: Accounts) -> Caller:
    accounts.add("Ada", WORDS)
    return accounts.who(accounts.log_in("ada", WORDS).secret)


@pytest.fixture
def other(accounts: Accounts, owner: Caller) -> Account:
    return accounts.add("Bo", WORDS + "!", owner)


def caller(accounts: Accounts, name: str = "Bo", password: str = WORDS + "!") -> Caller:
    return accounts.who(accounts.log_in(name, password).secret)


@pytest.mark.parametrize(
    ("role", "deeds"),
    [
        (None, set()),
        (Role.READER, {Deed.READ}),
        (Role.HELPER, {Deed.READ, Deed.VISIT}),
        (Role.KEEPER, {Deed.READ, Deed.VISIT, Deed.KEEP}),
    ],
)
def test_each_role_may_what_the_one_before_may_and_more(role: Role | None, deeds: set[Deed]) -> None:
    assert {deed for deed in Deed if may(role, deed)} == deeds


def test_the_lesser_of_two_roles_is_the_one_that_may_less() -> None:
    assert lesser(Role.KEEPER, Role.READER) is lesser(Role.READER, Role.HELPER) is Role.READER


def test_the_first_account_owns_the_logbook_and_others_need_an_owner(accounts: Accounts, owner: Caller) -> None:
    assert owner.owner and accounts.exist()
    with pytest.raises(NotAllowed):
        accounts.add("Eve", WORDS)
    accounts.add("Bo", WORDS, owner)
    with pytest.raises(NotAllowed):
        accounts.add("Eve", WORDS, caller(accounts, password=WORDS))


def test_before_there_is_an_account_this_computer_owns_the_logbook(accounts: Accounts) -> None:
    assert accounts.here().owner and accounts.here() == accounts.here() and not accounts.exist()
    with pytest.raises(WrongCredentials):
        accounts.log_in("this computer", "")


@pytest.mark.parametrize("password", ["short", "x" * 300, "aaaaaaaaaaaaaaa", "ada Lovelace of the larch"])
def test_a_password_that_is_easy_to_guess_is_refused(accounts: Accounts, password: str) -> None:
    with pytest.raises(InputError):
        accounts.add("Ada Lovelace of the larch", password)
    assert not accounts.exist()


@pytest.mark.parametrize("name", ["", "  ", "x" * 61, "a\x00b", "a\nb", "\ud800"])
def test_a_name_that_nobody_could_read_is_refused(accounts: Accounts, name: str) -> None:
    with pytest.raises(InputError):
        accounts.add(name, WORDS)


def test_two_names_that_read_alike_are_one(accounts: Accounts, owner: Caller) -> None:
    with pytest.raises(Conflict):
        accounts.add("  ADA ", WORDS, owner)


def test_a_wrong_name_and_a_wrong_password_are_told_alike(accounts: Accounts, owner: Caller) -> None:
    told = []
    for name, password in (("ada", "wrong"), ("nobody", WORDS)):
        with pytest.raises(WrongCredentials) as error:
            accounts.log_in(name, password)
        told.append(str(error.value))
    assert told[0] == told[1]


def test_guessing_is_slowed_for_a_quarter_of_an_hour(accounts: Accounts, owner: Caller, clock: Clock) -> None:
    for _ in range(5):
        with pytest.raises(WrongCredentials):
            accounts.log_in("ada", "wrong", "10.0.0.7")
    with pytest.raises(TooManyAttempts) as told:
        accounts.log_in("ada", WORDS, "10.0.0.7")
    assert told.value.seconds == 900
    accounts.log_in("ada", WORDS, "10.0.0.8")
    clock.time += timedelta(minutes=15)
    accounts.log_in("ada", WORDS, "10.0.0.7")


def test_one_place_cannot_try_many_names(accounts: Accounts, owner: Caller) -> None:
    for number in range(20):
        with pytest.raises(WrongCredentials):
            accounts.log_in(f"name {number}", "wrong", "10.0.0.7")
    with pytest.raises(TooManyAttempts):
        accounts.log_in("ada", WORDS, "10.0.0.7")


def test_a_session_ends_by_itself_by_leaving_and_with_its_account(
    accounts: Accounts, owner: Caller, other: Account, clock: Clock
) -> None:
    first, second = (accounts.log_in("bo", WORDS + "!").secret for _ in range(2))
    accounts.log_out(first)
    with pytest.raises(WrongCredentials):
        accounts.who(first)
    assert accounts.who(second).name == "Bo"
    clock.time += timedelta(days=30)
    with pytest.raises(WrongCredentials):
        accounts.who(second)
    third = accounts.log_in("bo", WORDS + "!").secret
    accounts.close(other.id, owner)
    with pytest.raises(WrongCredentials):
        accounts.who(third)
    with pytest.raises(WrongCredentials):
        accounts.log_in("bo", WORDS + "!")


def test_the_last_owner_cannot_be_closed(accounts: Accounts, owner: Caller) -> None:
    with pytest.raises(InputError):
        accounts.close(owner.account, owner)


def test_a_new_password_needs_the_old_one_and_ends_the_other_sessions(accounts: Accounts, owner: Caller) -> None:
    elsewhere = accounts.log_in("ada", WORDS).secret
    with pytest.raises(WrongCredentials):
        accounts.set_password(owner.account, "another long password", owner, "wrong")
    accounts.set_password(owner.account, "another long password", owner, WORDS)
    with pytest.raises(WrongCredentials):
        accounts.who(elsewhere)
    assert caller(accounts, "Ada", "another long password").owner


def test_only_an_owner_sets_the_password_of_others(accounts: Accounts, owner: Caller, other: Account) -> None:
    with pytest.raises(NotAllowed):
        accounts.set_password(owner.account, "another long password", caller(accounts))
    accounts.set_password(other.id, "another long password", owner)
    assert caller(accounts, "Bo", "another long password").account == other.id


def test_a_role_holds_for_its_tub_only_and_can_be_taken_away(accounts: Accounts, owner: Caller, other: Account) -> None:
    accounts.grant(other.id, "larch", Role.HELPER, owner)
    bo = caller(accounts)
    assert bo.may(Deed.VISIT, "larch") and not bo.may(Deed.KEEP, "larch") and not bo.may(Deed.READ, "birch")
    assert accounts.roles("larch", owner) == {owner.account: Role.KEEPER, other.id: Role.HELPER}
    accounts.grant(other.id, "larch", None, owner)
    with pytest.raises(NotAllowed):
        caller(accounts).demand(Deed.READ, "larch")


def test_a_role_on_all_tubs_counts_where_it_is_the_greater(accounts: Accounts, owner: Caller, other: Account) -> None:
    accounts.grant(other.id, ALL_TUBS, Role.HELPER, owner)
    accounts.grant(other.id, "larch", Role.READER, owner)
    assert caller(accounts).role("larch") is caller(accounts).role("any") is Role.HELPER


def test_a_keeper_gives_roles_on_the_own_tub_and_on_no_other(accounts: Accounts, owner: Caller, other: Account) -> None:
    accounts.grant(other.id, "larch", Role.KEEPER, owner)
    bo = caller(accounts)
    accounts.grant(owner.account, "larch", Role.READER, bo)
    for tub in ("birch", ALL_TUBS):
        with pytest.raises(NotAllowed):
            accounts.grant(other.id, tub, Role.KEEPER, bo)


def test_a_phone_joins_once_and_has_the_role_of_who_offered(accounts: Accounts, owner: Caller, clock: Clock) -> None:
    offer = accounts.offer_pairing(owner)
    with pytest.raises(WrongCredentials):
        accounts.who(offer.secret)
    joined = accounts.pair(offer.secret, "phone by the tub")
    phone = accounts.who(joined.secret)
    assert phone.owner and phone.device and [d.name for d in accounts.devices(owner)] == ["phone by the tub"]
    assert phone.source(7).device == phone.device and phone.source(7).sequence == 7
    with pytest.raises(WrongCredentials):
        accounts.pair(offer.secret, "another")


def test_an_offer_is_over_after_ten_minutes(accounts: Accounts, owner: Caller, clock: Clock) -> None:
    offer = accounts.offer_pairing(owner)
    clock.time += timedelta(minutes=10)
    with pytest.raises(WrongCredentials):
        accounts.pair(offer.secret, "phone")


def test_a_lost_phone_can_be_shut_out_by_its_account_and_by_nobody_else(
    accounts: Accounts, owner: Caller, other: Account
) -> None:
    joined = accounts.pair(accounts.offer_pairing(owner).secret, "phone")
    with pytest.raises(UnknownEntry):
        accounts.withdraw_device(joined.token.device, caller(accounts))
    accounts.withdraw_device(joined.token.device, owner)
    with pytest.raises(WrongCredentials):
        accounts.who(joined.secret)
    assert accounts.devices(owner) == []


def test_a_token_for_a_program_does_no_more_than_it_was_made_for(accounts: Accounts, owner: Caller) -> None:
    reading = accounts.who(accounts.make_token("chart on the wall", owner, Role.READER).secret)
    assert reading.may(Deed.READ, "larch") and not reading.may(Deed.VISIT, "larch") and not reading.owner
    keeping = accounts.who(accounts.make_token("controller", owner).secret)
    assert keeping.may(Deed.KEEP, "larch") and not keeping.owner
    again = accounts.who(accounts.make_token("made by the chart", reading).secret)
    assert again.most is Role.READER


def test_a_token_can_be_withdrawn_and_can_end_by_itself(accounts: Accounts, owner: Caller, clock: Clock) -> None:
    first, second = accounts.make_token("one", owner), accounts.make_token("two", owner, days=7)
    assert [t.name for t in accounts.tokens(owner)] == ["one", "two"]
    accounts.withdraw_token(first.token.id, owner)
    with pytest.raises(WrongCredentials):
        accounts.who(first.secret)
    clock.time += timedelta(days=7)
    with pytest.raises(WrongCredentials):
        accounts.who(second.secret)
    assert accounts.tokens(owner) == []


def test_a_secret_is_not_kept_and_does_not_show(accounts: Accounts, owner: Caller) -> None:
    made = accounts.make_token("one", owner)
    assert made.secret not in repr(made) and made.token.digest == digest_of(made.secret) != made.secret
    assert made.token.kind is TokenKind.PROGRAM and len(made.secret) >= 43
