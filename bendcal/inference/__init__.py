"""The statistics behind the fit, free of tubes and benders.

`latent`: errors in variables, hidden true values eliminated piece by piece. `pooling`: many
small laws that share causes, solved together. `sites`: readings that may be blunders.
`scales`: scales that nobody knows, averaged over.
"""
