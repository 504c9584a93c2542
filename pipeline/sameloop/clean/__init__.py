"""Mark what the power balance cannot use, and say why."""
