"""What leaves a process and comes back the same: errors with attributes, and values whose arrays cannot be changed.

`pickle`, `copy` and the pools of `multiprocessing` and `concurrent.futures` go the same way: they ask an object for
its state, make a bare one, and give it the state. Two things get lost on that way, and here they are kept. An error
is made anew from its message alone, which fails where its class wants keywords too, and a pool then waits for ever.
And an array comes back writeable.
"""

from __future__ import annotations

import copyreg
from typing import Any

import numpy as np

__all__ = ["Frozen", "TravellingError"]


class TravellingError(ValueError):
    """An error that keeps its attributes and notes. Its cause, too, if that is one of Python's own or of ours."""

    def __reduce__(self) -> tuple[Any, ...]:
        state = {**self.__dict__, "__suppress_context__": self.__suppress_context__}
        cause = self.__cause__
        if isinstance(cause, TravellingError) or type(cause).__module__ == "builtins":
            state = {"__cause__": cause, **state}
        return copyreg.__newobj__, (type(self), *self.args), state  # type: ignore[attr-defined]  # no stub has it


class Frozen:
    """Base of a frozen dataclass: its arrays are read-only, in every copy too; ``==`` compares field by field.

    Arrays in tuples and dicts are read-only as well. NaN equals NaN here, for it stands for "none".
    """

    def __post_init__(self) -> None:
        self.__setstate__(vars(self))

    def __setstate__(self, state: dict[str, Any]) -> None:
        vars(self).update({name: _frozen(value) for name, value in state.items()})

    def __eq__(self, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        return _same(vars(self), vars(other))

    def __hash__(self) -> int:
        return hash((type(self), *map(_trait, vars(self).values())))


def _frozen(value: Any) -> Any:
    """The value with its arrays read-only; the array that was handed in is left as it is."""
    if isinstance(value, np.ndarray) and value.flags.writeable:
        value = value.view()
        value.flags.writeable = False
    elif type(value) is tuple:
        value = tuple(map(_frozen, value))
    elif isinstance(value, dict):
        value = {name: _frozen(entry) for name, entry in value.items()}
    return value


def _same(mine: Any, theirs: Any) -> bool:
    if isinstance(mine, np.ndarray | float) and isinstance(theirs, np.ndarray | float):
        if np.shape(mine) != np.shape(theirs):
            return False
        return bool(np.all((mine == theirs) | ((mine != mine) & (theirs != theirs))))
    if isinstance(mine, tuple | list) and type(mine) is type(theirs):
        return len(mine) == len(theirs) and all(map(_same, mine, theirs))
    if isinstance(mine, dict) and isinstance(theirs, dict):
        return mine.keys() == theirs.keys() and all(_same(mine[name], theirs[name]) for name in mine)
    return not isinstance(mine, np.ndarray) and not isinstance(theirs, np.ndarray) and bool(mine == theirs)


def _trait(value: Any) -> Any:
    """Something to hash: alike for values that are the same."""
    if isinstance(value, np.ndarray):
        return value.shape
    if isinstance(value, tuple):
        return tuple(map(_trait, value))
    if isinstance(value, dict):
        return frozenset(value)
    return None if value != value else value
