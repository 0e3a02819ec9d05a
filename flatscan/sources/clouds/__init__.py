"""Point clouds and meshes, one module per format."""
