"""Level pours and the screeded plane."""
