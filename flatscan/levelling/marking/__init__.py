"""Areas as they are marked out on the floor."""
