"""The browser view of a study."""
