"""A small mail server for the tests of letters."""

from __future__ import annotations

import socketserver
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import Message
from email.policy import default

__all__ = ["TODAY", "TOMORROW", "MailServer", "serving"]

TODAY, TOMORROW = (["--now", f"2026-11-{day}T09:00:00+00:00"] for day in (25, 26))


class MailServer(socketserver.ThreadingTCPServer):
    """Speaks as much of RFC 5321 as a letter needs, keeps what it takes, and refuses whom it is told to.

    ``meanwhile`` is called once, while the first letter is being handed over; what it gave stands in ``answered``.
    """

    daemon_threads = True

    def __init__(self) -> None:
        self.taken: list[tuple[str, str, Message]] = []
        self.refuses: set[str] = set()
        self.meanwhile: Callable[[], int] | None = None
        self.answered: list[int] = []
        super().__init__(("127.0.0.1", 0), _Talk)

    @property
    def address(self) -> str:
        """Its host and port."""
        return f"127.0.0.1:{self.server_address[1]}"


class _Talk(socketserver.StreamRequestHandler):
    server: MailServer

    def handle(self) -> None:
        """One talk."""
        self._say("220 ready")
        sender = to = ""
        while line := self.rfile.readline():
            word, _, rest = line.decode().strip().partition(" ")
            word, path = word.upper(), rest.partition("<")[2].partition(">")[0]
            if word == "DATA":
                self._say("354 go on")
                content = self._data()
                self._meanwhile()
                self.server.taken.append((sender, to, message_from_bytes(content, policy=default)))
            sender, to = (path if word == "MAIL" else sender), (path if word == "RCPT" else to)
            refused = word == "RCPT" and path in self.server.refuses
            self._say("550 nobody of that name" if refused else "221 bye" if word == "QUIT" else "250 fine")
            if word == "QUIT":
                return

    def _meanwhile(self) -> None:
        other, self.server.meanwhile = self.server.meanwhile, None
        if other:
            self.server.answered.append(other())

    def _data(self) -> bytes:
        lines = []
        while (line := self.rfile.readline()) != b".\r\n":
            lines.append(line.removeprefix(b".") if line.startswith(b"..") else line)
        return b"".join(lines)

    def _say(self, text: str) -> None:
        self.wfile.write(f"{text}\r\n".encode())


@contextmanager
def serving() -> Iterator[MailServer]:
    """A server that runs."""
    found = MailServer()
    thread = threading.Thread(target=found.serve_forever, daemon=True)
    thread.start()
    yield found
    found.shutdown()
    found.server_close()
    thread.join()
