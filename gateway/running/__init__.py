"""A gateway at work: builds every part from the station file, joins them, looks after them, and stops them."""
