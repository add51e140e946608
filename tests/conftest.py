"""Shared by all tests: no test may reach a network."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest

from nightplan.model.config import Config
from nightplan.model.starter import demo_config, starter_text


class NetworkReachedError(AssertionError):
    """A test, or code under test, tried to open a connection."""


@pytest.fixture(autouse=True)
def no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*args: object, **kwargs: object) -> None:
        raise NetworkReachedError(f"network call with {args!r}")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket.socket, "connect_ex", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    if os.name == "posix":
        return
    for item in items:
        if item.get_closest_marker("posix"):
            item.add_marker(pytest.mark.skip(reason="POSIX alone has this"))


@pytest.fixture(scope="session")
def demo() -> Config:
    """The invented demo scenario."""
    return demo_config()


@pytest.fixture
def config_file(tmp_path: Path) -> Path:
    """The starter file in a folder of its own."""
    path = tmp_path / "nightplan.toml"
    path.write_text(starter_text(), encoding="utf-8")
    return path
