"""What a calibration can be held to by itself: one module a group of checks."""
