"""Results of the desk as plain data, for JSON and tables."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import Any


def plain_data(result: object) -> Any:
    """Return a result as dicts, lists, texts and numbers that JSON can hold.

    Parameters
    ----------
    result : object
        A frozen result of the desk.

    Returns
    -------
    dict, list, str, float, int, bool or None
        Infinite and missing numbers become None: no number of minutes, no end in sight. Times become ISO 8601 with
        their offset.
    """
    if is_dataclass(result) and not isinstance(result, type):
        return {field.name: plain_data(getattr(result, field.name)) for field in fields(result)}
    if isinstance(result, dict):
        return {str(key): plain_data(value) for key, value in result.items()}
    if isinstance(result, (list, tuple)):
        return [plain_data(value) for value in result]
    if isinstance(result, datetime):
        return result.isoformat()
    if isinstance(result, float):
        return result if math.isfinite(result) else None
    return result
