"""Tables for spreadsheets."""
