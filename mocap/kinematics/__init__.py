"""From points to a swing and its measures: cleaning, joint centres, inertia, hitting frame, moments, measures."""
