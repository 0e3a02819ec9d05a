"""What is said to people, once, for terminal, page, record, letter and map."""
