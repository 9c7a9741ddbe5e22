"""Results to drawings: each is an SVG with a title and a description, the same bytes each time."""
