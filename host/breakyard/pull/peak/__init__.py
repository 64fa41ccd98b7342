"""The highest force of one pull, with what the samples cannot tell."""
