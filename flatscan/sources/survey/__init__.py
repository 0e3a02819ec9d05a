"""What a person writes down about a room beside its capture: the survey file (TOML)."""
