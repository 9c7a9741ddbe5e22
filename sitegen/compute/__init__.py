"""Records and arrays in, results out: no file, clock or random state is touched here."""
