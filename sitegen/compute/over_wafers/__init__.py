"""What is stated of the values over all wafers: from samples of arrays to records of results."""
