"""Letters by SMTP."""

from __future__ import annotations

import smtplib
import ssl
from dataclasses import dataclass
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid
from typing import Literal

from service import clock

WAIT_SECONDS = 30.0

Security = Literal["starttls", "tls", "none"]


class NotSent(Exception):
    """A letter that no server took; the message says why."""


@dataclass(frozen=True)
class MailServer:
    """A server that takes letters, and whose they are."""

    host: str
    port: int
    sender: str
    security: Security = "starttls"
    user: str | None = None
    password: str | None = None

    def send(self, to: str, subject: str, text: str) -> None:
        """Send a letter to one reader.

        Raises
        ------
        NotSent
            If the server cannot be reached, or refuses it.
        """
        letter = EmailMessage()
        letter["From"] = self.sender
        letter["To"] = to
        letter["Subject"] = " ".join(subject.split())
        letter["Date"] = format_datetime(clock.now())
        letter["Message-ID"] = make_msgid(domain=self.sender.rpartition("@")[2].strip(">") or None)
        letter["Auto-Submitted"] = "auto-generated"  # RFC 3834: no holiday notes in answer
        letter.set_content(text)
        try:
            with self._connected() as server:
                if self.user is not None:
                    server.login(self.user, self.password or "")
                server.send_message(letter)
        except (OSError, smtplib.SMTPException) as error:
            raise NotSent(f"{self.host}:{self.port} took no letter: {type(error).__name__}") from error

    def _connected(self) -> smtplib.SMTP:
        if self.security == "tls":
            return smtplib.SMTP_SSL(
                self.host, self.port, timeout=WAIT_SECONDS, context=ssl.create_default_context()
            )
        server = smtplib.SMTP(self.host, self.port, timeout=WAIT_SECONDS)
        if self.security == "starttls":
            server.starttls(context=ssl.create_default_context())
        return server
