"""The set-up sheet: from the plan to the log, page by page in working order."""
