"""What every page keeps to, tried on the list of all tubs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from web.harness import DESK, PHONE, violations


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_list_of_tubs_is_accessible(
    open_page: Callable[..., Page], tub: str, size: dict[str, Any], scheme: str
) -> None:
    page = open_page("/", size, color_scheme=scheme)
    assert page.get_by_role("link", name="Larch").is_visible()
    assert violations(page) == []


def test_a_page_needs_no_script_to_show_its_content(open_page: Callable[..., Page], tub: str) -> None:
    page = open_page("/", java_script_enabled=False)
    assert page.get_by_text("Larch").is_visible()


def test_the_policy_allows_nothing_from_elsewhere_and_nothing_inline(client: TestClient) -> None:
    policy = client.get("/").headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy


def test_static_files_are_kept_for_long_under_an_address_that_changes_with_them(client: TestClient) -> None:
    sheet = client.get("/").text.split('rel="stylesheet" href="')[1].split('"')[0]
    answer = client.get(sheet)
    assert answer.status_code == 200 and "immutable" in answer.headers["cache-control"]
    assert client.get("/static/other/look.css").status_code == 404


def test_a_page_is_never_kept_by_a_browser_on_its_own(client: TestClient) -> None:
    assert client.get("/").headers["cache-control"] == "no-store"


def test_what_another_site_sends_is_not_carried_out(client: TestClient) -> None:
    for headers in ({"sec-fetch-site": "cross-site"}, {"origin": "http://elsewhere.test"}):
        assert client.post("/first", headers=headers).status_code == 403


def test_too_large_a_body_is_refused(client: TestClient) -> None:
    assert client.post("/first", content=b"x" * 3_000_000).status_code == 413


def test_an_unknown_page_is_answered_in_the_form_it_was_asked_in(client: TestClient) -> None:
    assert client.get("/nowhere").status_code == 404
    assert "<h1>" in client.get("/nowhere").text
    assert client.get("/api/nowhere").json()["error"]


def test_the_list_in_json_says_what_the_page_says(client: TestClient, keeping: Keeping, tub: str) -> None:
    keeping.record(tub, Kind.TEST, {"method": "strip", "bromine": 1, "pH": 7.5})
    (row,) = client.get("/api/tubs").json()
    assert row["id"] == tub and row["verdict"]["kind"] == "keep out"


def test_the_application_says_that_it_is_well(client: TestClient) -> None:
    assert client.get("/healthz").text == "ok\n"
