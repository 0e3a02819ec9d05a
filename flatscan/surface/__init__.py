"""Surface: the floor found among everything else, as a height map on its reference plane."""
