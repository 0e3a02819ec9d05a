"""How wide joints are in posed photos, with its uncertainty, and where a photo cannot tell."""
