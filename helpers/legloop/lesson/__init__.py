"""For people who learn: symbolic steps, review of answers, drawings, scrubbers."""
