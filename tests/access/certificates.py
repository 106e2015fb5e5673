"""Certificates of a test's own making."""

from __future__ import annotations

import subprocess
from pathlib import Path


def self_signed(folder: Path, address: str) -> tuple[Path, Path]:
    """A certificate for an address and its private key, as PEM, made by OpenSSL's command."""
    cert, key = folder / "cert.pem", folder / "key.pem"
    command = f"openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN={address}"
    command += f" -addext subjectAltName=IP:{address} -keyout {key} -out {cert}"
    subprocess.run(command.split(), check=True, capture_output=True)
    return cert, key
