"""What a comparison of two results is told in: words, map, page, printed record, tables."""
