"""Whom the printed sheets of a tub say to ask."""

from __future__ import annotations

from dataclasses import dataclass

from tubwater.services.entries import Entries

__all__ = ["Contact", "contact_of"]


@dataclass(frozen=True)
class Contact:
    """Whom to ask. ``address`` goes into the QR code; empty parts are left out."""

    name: str = ""
    phone: str = ""
    address: str = ""

    def over(self, other: Contact) -> Contact:
        """This one, with what it leaves out taken from another."""
        return Contact(self.name or other.name, self.phone or other.phone, self.address or other.address)


def contact_of(entries: Entries) -> Contact:
    """The table [contact] of a keeper's file."""
    found = Contact(entries.text("name"), entries.text("phone"), entries.text("address"))
    entries.done()
    return found
