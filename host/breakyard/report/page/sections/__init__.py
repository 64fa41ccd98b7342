"""The page's sections, each a function of the report's content."""
