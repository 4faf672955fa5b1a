"""The review of a learner's algebra: the steps, the slips that can be made in them, and the search for the one made.

From the ground up: `formula` and `chain` are how a step is written, `steps` states them all (`framed` in another
convention), `samples` draws the points, `answers` and `expressions` get numbers out of what is handed in, `relation`
compares them. `chain_slips`, `formula_slips`, `input_slips`, and `rare_slips` and `quadratic` for those seldom made,
make wrong versions of any step; `fits`, `offsets` and `lengths` find the amount of a slip that has one. `mutants`,
`versions` and `search` find the versions that give the answer, `words`, `diagnosis` and `report` say it, and
`reviewer` does all that.
"""
