"""Pages of paper: fonts, page templates, text and tables that flow, and a pen for drawings."""
