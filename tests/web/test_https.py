"""HTTPS at home, by an authority of this computer's own, and the names and addresses that it vouches for."""

from __future__ import annotations

import socket
import ssl
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from fastapi import FastAPI
from fastapi.testclient import TestClient

from tubwater.errors import InputError
from tubwater.logbook import open_logbook
from tubwater.main import main
from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.memory import RandomNames, SystemClock
from tubwater.web import create_app
from tubwater.web.certificates import Certificates, certificates, fingerprint
from tubwater.web.guard import HERE_ONLY
from tubwater.web.network import AnyOnce, home_addresses, host_names
from tubwater.web.serving import Secure, listen, listen_everywhere
from web.harness import WORDS, ZONE, Plain

NOW = datetime.now(UTC)
NAMES = ("localhost", "cedar", "cedar.local")


@pytest.fixture
def app(keeping: Keeping, accounts: Accounts) -> FastAPI:
    return create_app(keeping, zone=ZONE, hosts=None, accounts=accounts)


@pytest.fixture
def made(tmp_path: Path) -> Certificates:
    return certificates(tmp_path / "https", NAMES, ("127.0.0.1", "192.168.1.5"), NOW)


@pytest.fixture
def secure(made: Certificates, app: FastAPI) -> Iterator[int]:
    """The port on which the application answers by HTTPS."""
    with answering(app, lambda: made) as port:
        yield port


@contextmanager
def answering(app: FastAPI, renew: Callable[[], Certificates]) -> Iterator[int]:
    """Serves by HTTPS as the program does; whoever comes before the server is up waits for it."""
    listeners = listen_everywhere(0)
    for listener in listeners:
        listener.listen()
    secure = Secure(listeners, renew)
    app.state.home = secure.home
    with secure.serving(app):
        yield secure.home.port


def by_ipv6() -> bool:
    """Whether this computer can be asked by IPv6."""
    try:
        with socket.socket(socket.AF_INET6) as tried:
            tried.bind(("::1", 0))
    except OSError:
        return False
    return True


def trusting(made: Certificates) -> ssl.SSLContext:
    """What a phone does that trusts the authority and nobody else, by the strict rules of RFC 5280."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.load_verify_locations(cadata=made.authority.read_bytes())
    context.verify_flags |= ssl.VERIFY_X509_STRICT
    return context


def asked(port: int, context: ssl.SSLContext, name: str, path: str = "/healthz", at: str = "127.0.0.1") -> bytes:
    return sent(port, context, name, f"GET {path} HTTP/1.1\r\nHost: {name}\r\nConnection: close\r\n\r\n", at)


def sent(port: int, context: ssl.SSLContext, name: str, text: str, at: str = "127.0.0.1") -> bytes:
    plain = socket.create_connection((at, port), timeout=60)
    with plain, context.wrap_socket(plain, server_hostname=name) as line:
        line.sendall(text.encode())
        return b"".join(iter(lambda: line.recv(65536), b""))


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost", "cedar", "cedar.local", "192.168.1.5"])
def test_whoever_trusts_the_authority_reaches_the_pages_under_each_of_their_names(
    secure: int, made: Certificates, name: str
) -> None:
    assert asked(secure, trusting(made), name).startswith(b"HTTP/1.1 200")


def test_phones_are_answered_as_soon_as_there_is_an_account(
    app: FastAPI, made: Certificates, accounts: Accounts
) -> None:
    secure = Secure([listen("127.0.0.1", 0)], lambda: made, accounts.exist)
    with secure.serving(app):
        with pytest.raises(ConnectionRefusedError):
            asked(secure.home.port, trusting(made), "localhost")
        assert not secure.open
        accounts.add("keeper", WORDS)
        assert answered(secure.home.port, trusting(made)).startswith(b"HTTP/1.1 200")
        assert secure.open


def answered(port: int, context: ssl.SSLContext) -> bytes:
    """What is answered once somebody is there."""
    until = time.monotonic() + 180.0
    while True:
        try:
            return asked(port, context, "localhost")
        except ConnectionRefusedError:
            assert time.monotonic() < until
            time.sleep(0.1)


def test_who_was_never_allowed_stops_as_well(app: FastAPI, made: Certificates) -> None:
    with Secure([listen("127.0.0.1", 0)], lambda: made, lambda: False).serving(app):
        pass


def test_names_of_others_are_refused_until_everybody_has_to_log_in(keeping: Keeping, accounts: Accounts) -> None:
    app = create_app(keeping, zone=ZONE, hosts=AnyOnce(accounts.exist, HERE_ONLY), accounts=accounts)
    asking = TestClient(app, base_url="http://elsewhere.example", follow_redirects=False)
    assert asking.get("/").status_code == 421
    assert TestClient(app, base_url="http://localhost").get("/").status_code == 200
    accounts.add("keeper", WORDS)
    assert asking.get("/").headers["location"].startswith("/login")


@pytest.mark.skipif(not by_ipv6(), reason="this computer has no IPv6")
def test_the_pages_answer_by_ipv6_too(secure: int, made: Certificates) -> None:
    assert asked(secure, trusting(made), "localhost", at="::1").startswith(b"HTTP/1.1 200")


def test_without_ipv6_the_pages_answer_by_ipv4_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    def without(family: int, *rest: int) -> socket.socket:
        if family == socket.AF_INET6:
            raise OSError("no such family")
        return plain(family, *rest)

    plain = socket.socket
    monkeypatch.setattr("socket.socket", without)
    (only,) = listen_everywhere(0)
    assert only.family == socket.AF_INET
    only.close()


@pytest.mark.parametrize("name", ["elsewhere.example", "cedar.example", "192.168.1.6"])
def test_another_name_is_refused(secure: int, made: Certificates, name: str) -> None:
    with pytest.raises(ssl.SSLCertVerificationError, match="match"):
        asked(secure, trusting(made), name)


def test_whoever_does_not_trust_the_authority_is_not_connected(secure: int) -> None:
    with pytest.raises(ssl.SSLCertVerificationError):
        asked(secure, ssl.create_default_context(), "localhost")


def test_the_session_of_a_phone_that_joins_by_https_stays_there(
    secure: int, made: Certificates, accounts: Accounts
) -> None:
    accounts.add("keeper", WORDS)
    body = f"name=keeper&password={WORDS.replace(' ', '+')}"
    head = f"POST /login HTTP/1.1\r\nHost: localhost\r\nContent-Length: {len(body)}\r\nConnection: close\r\n"
    head += "Content-Type: application/x-www-form-urlencoded\r\n\r\n"
    answer = sent(secure, trusting(made), "localhost", head + body).decode().lower()
    assert "; secure" in answer and "httponly" in answer


def test_the_authority_is_given_to_everybody_with_its_fingerprint(
    secure: int, made: Certificates, accounts: Accounts
) -> None:
    accounts.add("keeper", WORDS)
    context = trusting(made)
    assert asked(secure, context, "localhost", "/trust/authority.crt").endswith(made.authority.read_bytes())
    assert fingerprint(made.authority).encode() in asked(secure, context, "localhost", "/trust")


def test_the_authority_may_not_vouch_for_a_name_elsewhere(made: Certificates) -> None:
    found = x509.load_der_x509_certificate(made.authority.read_bytes())
    allowed = found.extensions.get_extension_for_class(x509.NameConstraints)
    names = {str(one.value) for one in allowed.value.permitted_subtrees or () if isinstance(one, x509.DNSName)}
    assert allowed.critical and names == set(NAMES)


def test_keys_can_be_read_by_nobody_else(made: Certificates) -> None:
    keys = [made.key, made.key.with_name("authority.key")]
    assert [stat.S_IMODE(key.stat().st_mode) for key in keys] == [0o600, 0o600]


def test_the_certificate_is_renewed_before_it_ends_and_the_authority_stays(made: Certificates) -> None:
    folder, authority, first = made.chain.parent, made.authority.read_bytes(), made.chain.read_bytes()
    certificates(folder, NAMES, ("127.0.0.1",), NOW + timedelta(days=300))
    assert made.chain.read_bytes() == first
    later = NOW + timedelta(days=335)
    certificates(folder, NAMES, ("127.0.0.1",), later)
    again = x509.load_pem_x509_certificate(made.chain.read_bytes())
    assert again.not_valid_after_utc > later + timedelta(days=380)
    assert made.authority.read_bytes() == authority


def test_a_new_address_gets_a_new_certificate(made: Certificates) -> None:
    certificates(made.chain.parent, NAMES, ("127.0.0.1", "10.0.0.7"), NOW)
    found = x509.load_pem_x509_certificate(made.chain.read_bytes())
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert "10.0.0.7" in {str(one.value) for one in names}


def test_an_authority_in_its_last_year_makes_way_for_a_new_one(made: Certificates) -> None:
    authority = made.authority.read_bytes()
    certificates(made.chain.parent, NAMES, (), NOW + timedelta(days=3650 - 380))
    assert made.authority.read_bytes() != authority


@pytest.mark.parametrize("broken", ["pages.pem", "pages.key", "authority.key", "authority.crt"])
@pytest.mark.parametrize("content", ["of another", "cut"])
def test_a_file_that_is_cut_or_of_another_pair_makes_way_for_a_pair_that_can_be_served(
    made: Certificates, tmp_path: Path, broken: str, content: str
) -> None:
    place = made.chain.with_name(broken)
    other = certificates(tmp_path / "other", NAMES, (), NOW).chain.with_name(broken)
    place.write_bytes(other.read_bytes() if content == "of another" else place.read_bytes()[:100])
    again = certificates(made.chain.parent, NAMES, ("127.0.0.1",), NOW)
    ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(again.chain, again.key)
    pages = x509.load_pem_x509_certificate(again.chain.read_bytes())
    pages.verify_directly_issued_by(x509.load_der_x509_certificate(again.authority.read_bytes()))


def test_a_renewed_certificate_is_shown_while_it_runs_though_the_look_before_failed(
    made: Certificates, app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    looks = iter((made, OSError("the disk is full")))
    later = NOW + timedelta(days=335)

    def renew() -> Certificates:
        found = next(looks, None)
        if isinstance(found, OSError):
            raise found
        return found or certificates(made.chain.parent, NAMES, ("127.0.0.1",), later)

    first = made.chain.read_text()
    monkeypatch.setattr("tubwater.web.serving._LOOKED_AT", 0.05)
    with answering(app, renew) as port:
        until = time.monotonic() + 60
        while time.monotonic() < until and shown(port) == first:
            time.sleep(0.05)
        assert shown(port) == made.chain.read_text() != first


def shown(port: int) -> str:
    """The certificate that is shown; who comes in the moment of its change is refused, and asks again."""
    for _ in range(20):
        with suppress(ssl.SSLError):
            return ssl.get_server_certificate(("127.0.0.1", port), timeout=60)
        time.sleep(0.02)
    raise AssertionError("no certificate is shown")


def test_a_folder_for_certificates_that_cannot_be_written_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = str(tmp_path / "logbook.sqlite")
    logbook = open_logbook(place)
    Accounts(logbook.accounts, Plain(), SystemClock(), RandomNames()).add("keeper", WORDS)
    logbook.close()
    (tmp_path / "https").write_text("no folder")
    ports = ("--port", "0", "--https-port", "0")
    assert main(["serve", "--https", *ports, "--no-browser", "--logbook", place]) == 2
    assert "a folder that can be written" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "names"),
    [
        ("Cedar", ("localhost", "cedar", "cedar.local")),
        ("cedar.home", ("localhost", "cedar.home", "cedar", "cedar.local")),
        ("localhost", ("localhost",)),
        ("no name!", ("localhost",)),
    ],
)
def test_this_computer_knows_its_own_names(monkeypatch: pytest.MonkeyPatch, name: str, names: tuple[str, ...]) -> None:
    monkeypatch.setattr("socket.gethostname", lambda: name)
    assert host_names() == names


@pytest.mark.parametrize(
    ("speaks", "addresses"),
    [
        ("192.168.1.5", ("192.168.1.5", "10.0.0.7", "fd12::5")),
        ("10.0.0.7", ("10.0.0.7", "fd12::5")),
        ("203.0.113.9", ("10.0.0.7", "fd12::5")),
        ("", ("10.0.0.7", "fd12::5")),
    ],
)
def test_this_computer_knows_its_own_addresses_at_home(
    monkeypatch: pytest.MonkeyPatch, speaks: str, addresses: tuple[str, ...]
) -> None:
    known = ("fd12::5", "::1", "2001:db8::5", "127.0.1.1", "10.0.0.7", "203.0.113.9")
    found = [(0, socket.SOCK_STREAM, 0, "", (one, 0)) for one in known]
    monkeypatch.setattr("tubwater.web.network._speaks_from", lambda: speaks)
    monkeypatch.setattr("socket.getaddrinfo", lambda *_: found)
    assert home_addresses() == addresses


def test_a_port_that_is_taken_is_said() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(InputError):
            listen("127.0.0.1", taken.getsockname()[1])
