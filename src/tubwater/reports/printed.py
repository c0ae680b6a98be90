"""Sheets as PDF by typst: tagged (PDF/UA-1), the same bytes for the same words, with the fonts beside this module.

Typst and the QR maker load when a sheet is asked for, not before.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from enum import StrEnum
from importlib import resources
from typing import Any

from tubwater.services.tubfile import UnitSystem

__all__ = [
    "Paper",
    "handout_pdf",
    "label_pdf",
    "paper_of",
    "qr_svg",
    "record_pdf",
    "safety_pdf",
    "sheet_pdf",
    "sheet_pictures",
]

_DOTS_PER_INCH = 110.0


class Paper(StrEnum):
    """The papers that sheets are made for."""

    A4 = "a4"
    LETTER = "us-letter"


def paper_of(asked: Paper | None, units: UnitSystem) -> Paper:
    """The paper that is asked for, else what is usual where amounts are told so."""
    return asked or (Paper.LETTER if units is UnitSystem.US else Paper.A4)


def handout_pdf(words: Mapping[str, Any], paper: Paper = Paper.A4) -> bytes:
    """The handout from its words (``handout_words``)."""
    return sheet_pdf("handout", words, paper)


def label_pdf(words: Mapping[str, Any], paper: Paper = Paper.A4) -> bytes:
    """The label for the cabinet from the words of the handout, to be cut out."""
    return sheet_pdf("label", words, paper)


def safety_pdf(words: Mapping[str, Any], paper: Paper = Paper.A4) -> bytes:
    """The safety sheet from its words (``safety_words``)."""
    return sheet_pdf("safety", words, paper)


def record_pdf(words: Mapping[str, Any], paper: Paper = Paper.A4) -> bytes:
    """The record from its words (``record_words``)."""
    return sheet_pdf("record", words, paper)


def qr_svg(address: str) -> str:
    """An address as a QR code in SVG, with a quiet zone."""
    import segno

    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", border=2, xmldecl=False, dark="#231e17")
    return out.getvalue().decode("utf-8")


def sheet_pdf(name: str, words: Mapping[str, Any], paper: Paper = Paper.A4) -> bytes:
    """A sheet of the folder ``typst`` as PDF."""
    import typst

    with _page(name, words, paper) as page:
        made: bytes = typst.compile(**page, format="pdf", pdf_standards=["ua-1"])
    return made


def sheet_pictures(name: str, words: Mapping[str, Any], paper: Paper = Paper.A4) -> list[bytes]:
    """Each page of a sheet as a PNG."""
    import typst

    with _page(name, words, paper) as page:
        made: Any = typst.compile(**page, format="png", ppi=_DOTS_PER_INCH)
    return made if isinstance(made, list) else [made]


@contextmanager
def _page(name: str, words: Mapping[str, Any], paper: Paper) -> Iterator[dict[str, Any]]:
    """What typst needs: the page, its words, and our fonts alone."""
    address = words.get("ask", {}).get("qr", "")
    with resources.as_file(resources.files("tubwater.reports")) as folder:
        yield {
            "input": str(folder / "typst" / f"{name}.typ"),
            "root": str(folder / "typst"),
            "font_paths": [str(folder / "fonts")],
            "ignore_system_fonts": True,
            "sys_inputs": {
                "data": json.dumps(words, sort_keys=True),
                "paper": paper.value,
                "qr": qr_svg(address) if address else "",
            },
        }
