"""Finding the floor: its plane, frame, outline, and what stands or lies on it."""
