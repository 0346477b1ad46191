"""pandas, imported when a table is first asked for: that takes as long as it takes to tell a kept result."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pandas import *  # noqa: F403
else:

    def __getattr__(name: str) -> object:
        import pandas

        return getattr(pandas, name)
