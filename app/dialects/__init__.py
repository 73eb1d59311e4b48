"""What each firmware wants to be told, and with which sign. Pure."""
