"""Studies: many readings at once, and how far two ways of measuring agree."""
