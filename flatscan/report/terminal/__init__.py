"""What is printed: one screen, or everything."""
