"""A store of test kits in memory."""

from __future__ import annotations

from tubwater.services.storage import Kit

__all__ = ["MemoryKits"]


class MemoryKits:
    """A ``KitStore`` that forgets at the end of the process."""

    def __init__(self) -> None:
        self._kept: dict[str, Kit] = {}

    def keep(self, kit: Kit) -> None:
        """See ``KitStore``."""
        self._kept[kit.id] = kit

    def all(self) -> list[Kit]:
        """See ``KitStore``."""
        return [self._kept[key] for key in sorted(self._kept)]
