"""What a difference is worth on another road."""
