"""Reports on several logs: the appraisal before buying, and the season."""
