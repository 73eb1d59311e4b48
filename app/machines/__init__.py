"""Machine links: the printer behind one protocol, by whatever wire it hangs on."""

from app.machines.line_link import LineLink, open_line_link

__all__ = ["LineLink", "open_line_link"]
