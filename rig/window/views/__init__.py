"""What each part of the window shows, as values ready to be painted. No Qt, no computation of results."""
