"""A mail server of a test's own: just as much of SMTP (RFC 5321) as a client without a login speaks."""

from __future__ import annotations

import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes, policy
from email.message import EmailMessage


class _Talk(socketserver.StreamRequestHandler):
    def handle(self) -> None:
        server = self.server
        assert isinstance(server, MailBox)
        self._say("220 box")
        while line := self.rfile.readline():
            verb = line[:4].upper()
            if verb == b"DATA":
                self._say("354 go on")
                data = b""
                while (part := self.rfile.readline()) not in (b".\r\n", b""):
                    data += part.removeprefix(b".")
                server.letters.append(message_from_bytes(data, policy=policy.default))
                self._say("250 taken")
            elif verb == b"RCPT" and any(each.encode() in line for each in server.refused):
                self._say("550 nobody here")
            else:
                self._say("221 bye" if verb == b"QUIT" else "250 box")

    def _say(self, text: str) -> None:
        self.wfile.write(text.encode() + b"\r\n")


class MailBox(socketserver.ThreadingTCPServer):
    """Keeps all letters but those to addresses that it refuses."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Talk)
        self.letters: list[EmailMessage] = []
        self.refused: set[str] = set()

    @property
    def port(self) -> int:
        """On which it listens."""
        return int(self.server_address[1])


@contextmanager
def mail_box() -> Iterator[MailBox]:
    """A server that runs in a thread."""
    with MailBox() as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join()
