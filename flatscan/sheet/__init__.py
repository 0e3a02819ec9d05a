"""The field sheet: where to lay the straightedge and hold the staff, to be printed, filled in and typed back."""
