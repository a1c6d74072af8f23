"""What every test shares: a store of its own, and never the user's."""

import pytest


@pytest.fixture(autouse=True)
def own_store(tmp_path, monkeypatch):
    """Point the program at an empty store in a temporary folder for the length of one test."""
    url = f"sqlite:///{tmp_path / 'workshop.sqlite'}"
    monkeypatch.setenv("WORKSHOP_STORE", url)
    monkeypatch.setenv("WORKSHOP_DEMO_FOLDER", str(tmp_path / "demo"))
    return url
