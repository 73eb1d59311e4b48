"""The result: old and new stored values, warnings, the text to paste, saving it."""
