"""Read ride files and weather into plain records."""
