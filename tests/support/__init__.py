"""What several test modules share and no test is in."""
