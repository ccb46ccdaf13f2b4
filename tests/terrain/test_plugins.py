"""The loader of plug-ins: order, faults and doubles, with entry points made up for it."""

from __future__ import annotations

import sys
import types
from importlib.metadata import EntryPoint

import pytest

from terrain.values.errors import EngineError
from terrain.values.plugins import (
    FLOOD_METHODS,
    FLOW_ENGINES,
    PluginError,
    Plugins,
    call_plugin,
    load_plugins,
)

GROUP = "gullywalk.test_things"


class Good:
    name = "good"

    def work(self) -> int:
        return 1


class Lame:
    name = "lame"


class Sulky:
    name = "sulky"

    def __init__(self) -> None:
        raise RuntimeError("no mood\nand more lines")


class Quitter:
    name = "quitter"

    def __init__(self) -> None:
        sys.exit(3)


class Alias:
    name = "somebody else"

    def work(self) -> int:
        return 2


ready_made = Good()


@pytest.fixture
def plugin_module(monkeypatch: pytest.MonkeyPatch) -> str:
    """Return the name of a module that holds the classes above."""
    module = types.ModuleType("made_up_plugins")
    for value in (Good, Lame, Sulky, Quitter, Alias):
        setattr(module, value.__name__, value)
    module.ready_made = ready_made  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, module.__name__, module)
    return module.__name__


def load(module: str, **named: str) -> Plugins[Good]:
    entries = [EntryPoint(name, f"{module}:{value}", GROUP) for name, value in named.items()]
    return load_plugins(GROUP, kind="test thing", needs=("name", "work"), entries=entries)


def test_classes_are_called_and_objects_taken_as_they_are(plugin_module: str) -> None:
    assert load(plugin_module, good="Good")["good"].work() == 1
    assert load(plugin_module, good="ready_made")["good"] is ready_made


def test_sorted_by_name_whatever_the_order_they_come_in(plugin_module: str) -> None:
    entries = [EntryPoint(n, f"{plugin_module}:Good", GROUP) for n in ("b", "c", "a")]
    found = load_plugins(GROUP, kind="test thing", entries=entries)
    assert found.names == ("a", "b", "c")
    assert len(list(found)) == 3


@pytest.mark.parametrize(
    ("name", "value", "why"),
    [
        ("lame", "Lame", "it lacks work"),
        ("sulky", "Sulky", "RuntimeError: no mood"),
        ("quitter", "Quitter", "SystemExit: 3"),
        ("gone", "Gone", "AttributeError"),
        ("alias", "Alias", "registered as 'alias' and calls itself 'somebody else'"),
    ],
)
def test_a_broken_one_is_named_and_stops_nothing_else(
    plugin_module: str, name: str, value: str, why: str
) -> None:
    found = load(plugin_module, good="Good", **{name: value})
    assert found.names == ("good",)
    (warning,) = found.warnings()
    assert warning.startswith(f"The test thing {name} ({plugin_module}:{value}")
    assert why in warning
    assert "\n" not in warning
    with pytest.raises(PluginError, match="expected one of: good") as raised:
        found[name]
    assert why in str(raised.value)


def test_a_missing_library_is_said_to_be_missing() -> None:
    entry = EntryPoint("far", "a_library_that_is_not_there:Thing", GROUP)
    (broken,) = load_plugins(GROUP, kind="test thing", entries=[entry]).broken
    assert "cannot be imported" in broken.why
    assert "a_library_that_is_not_there" in broken.why


def test_two_with_one_name_are_an_error(plugin_module: str) -> None:
    entries = [EntryPoint("good", f"{plugin_module}:{v}", GROUP) for v in ("Good", "Alias")]
    with pytest.raises(PluginError, match=r"two plug-ins are named 'good'.*Alias.*Good"):
        load_plugins(GROUP, kind="test thing", entries=entries)


def test_one_listed_twice_is_one(plugin_module: str) -> None:
    entries = [EntryPoint("good", f"{plugin_module}:Good", GROUP)] * 2
    assert load_plugins(GROUP, kind="test thing", entries=entries).names == ("good",)


def test_a_further_check_can_turn_one_down(plugin_module: str) -> None:
    entries = [EntryPoint("good", f"{plugin_module}:Good", GROUP)]
    found = load_plugins(
        GROUP, kind="test thing", entries=entries, check=lambda thing: "it is too good."
    )
    assert found.names == ()
    assert found.broken[0].why == "it is too good."


def test_unknown_names_get_the_list(plugin_module: str) -> None:
    with pytest.raises(PluginError, match="no test thing named 'x'; expected one of: good"):
        load(plugin_module, good="Good")["x"]
    with pytest.raises(PluginError, match="none is installed"):
        load(plugin_module)["x"]


def test_a_call_that_fails_names_the_plugin() -> None:
    with pytest.raises(PluginError, match="the test thing 'good' failed: ZeroDivisionError"):
        call_plugin("test thing", "good", lambda: 1 // 0)
    with pytest.raises(PluginError, match="no reason given"):
        call_plugin("test thing", "good", lambda: _raise(ValueError()))
    assert call_plugin("test thing", "good", lambda: 5) == 5


@pytest.mark.parametrize(
    "error", [EngineError("clear already"), MemoryError(), KeyboardInterrupt()]
)
def test_clear_errors_and_interrupts_go_through(error: BaseException) -> None:
    with pytest.raises(type(error)) as raised:
        call_plugin("test thing", "good", lambda: _raise(error))
    assert raised.value is error


def _raise(error: BaseException) -> None:
    raise error


@pytest.mark.parametrize(
    ("group", "name"),
    [(FLOW_ENGINES, "native"), (FLOW_ENGINES, "pysheds"), (FLOOD_METHODS, "graphical")],
)
def test_what_is_built_in_registers_like_everyone_else(group: str, name: str) -> None:
    found = load_plugins(group, kind="plug-in", needs=("name",))
    assert name in found.names
    assert found.broken == ()
