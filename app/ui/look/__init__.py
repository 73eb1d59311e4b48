"""How the window looks: colours, type, style sheet, icons, small parts."""
