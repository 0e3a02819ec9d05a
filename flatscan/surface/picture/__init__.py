"""The floor's picture: photos, colours or heights laid on the reference plane, seen from straight above."""
