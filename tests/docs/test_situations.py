"""Everything that a plan can be asked for, and everything that stops a tub, is told of in some how-to page."""

from __future__ import annotations

from pathlib import Path

from tubwater.facts.purposes import purposes
from tubwater.tub import Sign

PAGES = Path(__file__).resolve().parent.parent.parent / "docs" / "how-to"
OF_THE_RECORD = frozenset((Sign.CLOSED,))  # no look tells it


def test_everything_that_a_plan_can_be_asked_for_has_a_page() -> None:
    text = "\n".join(page.read_text(encoding="utf-8") for page in PAGES.glob("*.md"))
    assert [key for key in purposes() if f"`{key}`" not in text and f"--about {key}" not in text] == []


def test_everything_that_keeps_people_out_has_a_page_with_its_word() -> None:
    text = "\n".join(page.read_text(encoding="utf-8") for page in PAGES.glob("*.md"))
    assert [sign for sign in Sign if f"`{sign}`" not in text and f'"{sign}"' not in text] == [*OF_THE_RECORD]


def test_every_page_is_reached_from_the_list_of_documents() -> None:
    listed = (PAGES.parent / "README.md").read_text(encoding="utf-8")
    assert [page.name for page in PAGES.glob("*.md") if f"how-to/{page.name}" not in listed] == []
