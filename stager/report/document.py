"""Documents for other programs: SI values, a unit suffix in each key, null for what is not computed."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np

from stager.errors import UNSEEN
from stager.version import __version__


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """What an answer came from: SHA-256 of the configuration's bytes, seed of all random draws."""

    config_sha256: str
    seed: int


PROVENANCE = ("stager_version", "config_sha256", "seed")
"""What every document says of where it comes from."""


def document(content: Mapping[str, Any], source: Source) -> dict[str, Any]:
    """Content with its provenance, as plain data."""
    return {
        **{key: plain(value) for key, value in content.items()},
        **dict(zip(PROVENANCE, (__version__, source.config_sha256, source.seed), strict=True)),
    }


def plain(value: Any) -> Any:
    """Numbers, text, lists and dictionaries only; NaN and infinity become null."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, str) or value is None:
        return value
    if isinstance(value, Sequence):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def text(content: Mapping[str, Any], *, ascii_only: bool = False) -> str:
    """One JSON document, keys in the order given."""
    plainly = json.dumps(content, indent=2, ensure_ascii=ascii_only, allow_nan=False)
    # Escapes of JSON, so that a document on a terminal cannot steer it.
    return "\n".join(UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", line) for line in plainly.split("\n"))
