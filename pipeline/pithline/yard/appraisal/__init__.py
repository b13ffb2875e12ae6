"""What logs are worth before they are bought: from what is known of each to money, with what is not known."""
