"""What each way costs, how long it takes, and which to choose."""
