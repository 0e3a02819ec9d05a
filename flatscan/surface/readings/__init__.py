"""A surface from readings taken by hand, and a scan corrected by them."""
