"""Files that a station left, read as mapping.toml says: text tables, Parquet, Touchstone trees."""
