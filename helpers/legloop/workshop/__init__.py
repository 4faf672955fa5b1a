"""For people who build: each module does one job of the workshop, from the drawing to the running joint."""
