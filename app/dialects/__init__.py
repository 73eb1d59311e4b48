"""What each firmware wants to be told, and with which sign. Pure."""

from app.dialects.dialect import Dialect
from app.dialects.registry import DIALECTS, dialect_named

__all__ = ["DIALECTS", "Dialect", "dialect_named"]
