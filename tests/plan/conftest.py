from __future__ import annotations

from pathlib import Path

import pytest
from small_shop import Shop, small_shop


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """A small invented shop whose files are without a fault."""
    return small_shop(tmp_path)
