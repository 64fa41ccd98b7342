"""What survives a flat battery, a full card and a hasty hand: files that are whole or not there, and locks."""
