"""How fast the parts are beside others' ways to the same end, as ratios in one run. Never timed as a test."""
