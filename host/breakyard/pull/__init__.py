"""One pull, read: LoadCurve -> Summary."""
