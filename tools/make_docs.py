"""Builds the reference from the data and the code: `python tools/make_docs.py [FOLDER]`, else `build/reference`."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

__all__ = ["build", "main"]

ROOT = Path(__file__).resolve().parent.parent
USUAL = ROOT / "build" / "reference"


def build(folder: Path) -> list[Path]:
    """Writes every page into a folder of its own, anew; the pages written."""
    from reference_pages import pages

    made = pages()
    if folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    for name, text in made.items():
        (folder / name).write_text(text, encoding="utf-8")
    return [folder / name for name in made]


def main(arguments: list[str]) -> int:
    """Builds into the folder named, which must not hold anything but an older reference."""
    folder = Path(arguments[0]).resolve() if arguments else USUAL
    if folder.exists() and any(path.suffix != ".md" for path in folder.iterdir()):
        print(f"{folder} holds other files than pages of the reference; name another folder.", file=sys.stderr)
        return 2
    written = build(folder)
    print(f"{len(written)} pages in {folder}; begin with README.md there")
    return 0


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT / "src"))
    raise SystemExit(main(sys.argv[1:]))
