"""Air density and wind at rider height."""
