"""What people see: numbers in their unit, sentences for doubts, tables, pictures. Imports the line, makes no files."""
