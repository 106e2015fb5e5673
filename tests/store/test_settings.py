"""Settings come from the environment, and each of them says what it is."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from service.settings import Settings


def test_settings_have_defaults_and_descriptions(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in Settings.model_fields:
        monkeypatch.delenv(f"CAPFALL_{name.upper()}", raising=False)
    settings = Settings()
    assert (settings.database_url, settings.access, settings.max_upload_mb, settings.trusted_proxies) == (
        "sqlite:///capfall.db",
        "open",
        20,
        "127.0.0.1",
    )
    assert all(field.description for field in Settings.model_fields.values())


def test_settings_are_read_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CAPFALL_DATABASE_URL", "sqlite://")
    monkeypatch.setenv("CAPFALL_ACCESS", "keys")
    monkeypatch.setenv("CAPFALL_MAX_UPLOAD_MB", "1.5")
    settings = Settings()
    assert (settings.database_url, settings.access, settings.max_upload_mb) == ("sqlite://", "keys", 1.5)


@pytest.mark.parametrize(("name", "value"), [("ACCESS", "closed"), ("MAX_UPLOAD_MB", "0")])
def test_settings_that_cannot_be_are_refused(monkeypatch: pytest.MonkeyPatch, name: str, value: str) -> None:
    monkeypatch.setenv(f"CAPFALL_{name}", value)
    with pytest.raises(ValidationError):
        Settings()
