"""What ``Mode.HELD`` is to Numba: a plain int64 constant, in the kernel and in coded policies alike.

(Numba gives the members of an IntEnum a type of their own: they index no array, and a function is compiled
anew for each.)
"""

from __future__ import annotations

from typing import Any

from numba.core import types
from numba.core.datamodel.models import OpaqueModel
from numba.core.imputils import lower_constant
from numba.core.typing.templates import AttributeTemplate
from numba.extending import infer_getattr, lower_getattr_generic, register_model, typeof_impl

from engine.state.words import Words, WordsMeta


class WordsType(types.Opaque):
    """A table of words, to the compiler: nothing but its members' numbers."""

    def __init__(self, table: Any) -> None:
        self.table = table
        super().__init__(name=f"{table.__module__}.{table.__qualname__}")


register_model(WordsType)(OpaqueModel)


@typeof_impl.register(WordsMeta)
def _typeof_words(table: Any, context: Any) -> WordsType:
    return WordsType(table)


@typeof_impl.register(Words)
def _typeof_member(member: Any, context: Any) -> Any:
    return types.int64


@lower_constant(WordsType)
def _constant_words(context: Any, builder: Any, words: WordsType, table: Any) -> Any:
    return context.get_dummy_value()


@infer_getattr
class _WordsMembers(AttributeTemplate):
    key = WordsType

    def generic_resolve(self, words: WordsType, name: str) -> Any:
        return types.int64 if name in words.table.__members__ else None


@lower_getattr_generic(WordsType)
def _member(context: Any, builder: Any, words: WordsType, value: Any, name: str) -> Any:
    return context.get_constant(types.int64, int(words.table[name]))
