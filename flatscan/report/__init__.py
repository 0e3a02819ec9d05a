"""Report: the answer in the forms people and programs read. It formats; it computes nothing."""
