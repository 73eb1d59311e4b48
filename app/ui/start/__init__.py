"""The start page: which machine, which camera, how positions are told; the machine form."""

from app.ui.start.page import StartPage

__all__ = ["StartPage"]
