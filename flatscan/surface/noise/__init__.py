"""What the capture adds to the heights, and what is left when it is taken off."""
