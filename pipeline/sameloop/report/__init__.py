"""Say the result: terminal text, tables, files."""
