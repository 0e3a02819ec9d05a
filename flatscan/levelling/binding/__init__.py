"""What binds the levelling: the survey's rules, cell by cell."""
