"""End templates: the ends of a log with their lines at true size, on paper."""
